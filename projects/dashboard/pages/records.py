"""Words of a county's page of records for everybody."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from modelling.selectors import taxon_row
from projects.models import ShieldedTaxon, Snapshot
from projects.rules.exports import MOST_AT_ONCE


@dataclass(frozen=True)
class OpenRecordsPage:
    """What there is to take along."""

    name: str
    returns: int
    records: int
    shielded: Sequence[ShieldedTaxon]

    @property
    def sentence(self) -> str:
        """The answer first."""
        if not self.returns:
            return f"No return of a meadow in {self.name} that is shown to everybody is agreed yet."
        returns = "1 agreed return" if self.returns == 1 else f"{self.returns:,} agreed returns"
        records = "1 record of a plant" if self.records == 1 else f"{self.records:,} records of plants"
        return f"{self.name} gives everybody {records} from {returns}."

    @property
    def at_once(self) -> bool:
        """Whether they fit into one file that is made while somebody waits."""
        return self.records <= MOST_AT_ONCE

    @property
    def coarse(self) -> list[tuple[str, str, str]]:
        """Plants that are shown coarsely: English name, Latin name, square."""
        lines = []
        for row in self.shielded:
            words = taxon_row(row.taxon) or {"english_name": row.taxon, "scientific_name": ""}
            lines.append((words["english_name"], words["scientific_name"], f"{row.side_m // 1000} km"))
        return sorted(lines)


@dataclass(frozen=True)
class SnapshotPage:
    """A snapshot as it is read by people."""

    row: Snapshot
    #: as the API tells it
    told: dict[str, Any]

    @property
    def sentence(self) -> str:
        """The answer first."""
        of = self.row.network.name if self.row.network is not None else "all networks"
        return f"“{self.row.name}”: the records of {of} as they were on {self.row.made_at:%-d %B %Y}."

    @property
    def files(self) -> list[tuple[str, str, str, str, str]]:
        """Each file: name, address, rows, size, checksum."""
        return [
            (file["name"], file["address"], f"{file['rows']:,}", _size(file["size_bytes"]), file["sha256"])
            for file in self.told["files"]
        ]


def _size(size_bytes: int) -> str:
    """A size in words, of two or three figures."""
    if size_bytes < 1000:
        return f"{size_bytes} bytes"
    return f"{size_bytes / 1000:,.0f} kB" if size_bytes < 1_000_000 else f"{size_bytes / 1_000_000:,.1f} MB"
