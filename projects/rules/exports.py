"""Exports and snapshots: which forms a table has, how much is handed out at once, how long files stay."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from types import MappingProxyType
from typing import Final

from projects.choices import ExportForm, ExportTable

#: records of one file that is made while the caller waits; some seconds' work
MOST_AT_ONCE: Final = 50_000
#: how long a file that somebody asked for can be fetched
KEPT: Final = timedelta(days=7)
#: files that one person may have waiting or lying at once
MOST_EXPORTS: Final = 10
#: snapshots of one network, or of all, within a day: each is kept for good
MOST_SNAPSHOTS_A_DAY: Final = 3
#: returns, sites or projects of one part of a job; what is lost when its worker is killed
PART: Final = 200

_PLAIN: Final = frozenset({ExportForm.CSV, ExportForm.PARQUET})
_PLACED: Final = _PLAIN | {ExportForm.GEOJSON}
FORMS: Final[Mapping[str, frozenset[ExportForm]]] = MappingProxyType(
    {
        ExportTable.SITES: _PLACED,
        ExportTable.PROJECTS: _PLACED,
        ExportTable.RETURNS: _PLACED,
        ExportTable.RECORDS: _PLACED | {ExportForm.DARWIN_CORE},
        ExportTable.FACTS: _PLAIN,
    }
)
