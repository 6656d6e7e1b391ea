"""Requests for files of records, and for snapshots."""

from __future__ import annotations

from typing import Literal

from projects.contracts.base import Identifier, LongText, Name, Strict
from projects.contracts.returns import Year


class ExportNew(Strict):
    """A table of a network, or of all networks, in an open format."""

    table: Literal["sites", "projects", "returns", "records", "facts"]
    form: Literal["csv", "parquet", "geojson", "darwin_core"] = "csv"
    network_id: Identifier | None = None
    """All networks if left out."""
    year: Year | None = None
    """Year of the returns; of all years if left out. For returns, records and facts."""
    as_job: bool = False
    """Whether to have it made in the background even where it is small, so that it can be fetched in pieces."""


class SnapshotNew(Strict):
    """All open tables of a network, or of all networks, kept for good as they are now."""

    name: Name
    """What it is cited by, such as "Summer of 2028"."""
    about: LongText = ""
    network_id: Identifier | None = None
    """All networks if left out, which is for operators."""
