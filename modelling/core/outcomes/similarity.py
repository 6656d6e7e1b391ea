"""How alike two lists or two swards are: from 0, nothing shared, to 1, the same."""

from __future__ import annotations

from collections.abc import Mapping, Set

import numpy as np


def jaccard(one: Set[str], other: Set[str]) -> float | None:
    """Shared kinds over all kinds; None for two empty lists."""
    every = one | other
    return len(one & other) / len(every) if every else None


def sorensen(one: Set[str], other: Set[str]) -> float | None:
    """Twice the shared kinds over the two lengths; None for two empty lists."""
    both = len(one) + len(other)
    return 2 * len(one & other) / both if both else None


def bray_curtis(one: Mapping[str, float], other: Mapping[str, float]) -> float | None:
    """1 - the sum of differences over the sum of both: likeness of amounts; None where both are empty."""
    keys = sorted(one.keys() | other.keys())
    a = np.array([one.get(key, 0.0) for key in keys])
    b = np.array([other.get(key, 0.0) for key in keys])
    total = float(a.sum() + b.sum())
    return 1 - float(np.abs(a - b).sum()) / total if total > 0 else None
