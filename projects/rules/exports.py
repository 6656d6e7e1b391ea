"""Exports: how much is handed out at once, and how long files stay."""

from __future__ import annotations

from typing import Final

#: records of one file that is made while the caller waits; some seconds' work
MOST_AT_ONCE: Final = 50_000
