"""Requests about plug plants."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field, model_validator

from projects.contracts.base import Day, Identifier, LongNote, Strict, Words, refused

#: more than a network's greenhouse holds
MOST: Final = 1_000_000
Count = Annotated[int, Field(ge=1, le=MOST)]


class PlugBatchNew(Strict):
    """Plants of one kind sown on one day."""

    taxon: Annotated[Words, Field(max_length=80)]
    """Key of a plant; see the vocabularies."""
    sown_on: Day
    sown_count: Count
    """Seeds, or cells with a pinch of seed each."""
    lot_id: Identifier | None = None
    """The lot of seed it was sown from, where it is the network's."""
    seed_from: Annotated[Words, Field(max_length=200)] = ""
    """Else where the seed came from."""
    group_id: Identifier | None = None
    """Who looks after it; left out, the network."""
    ready_on: Day | None = None
    note: LongNote = ""

    @model_validator(mode="after")
    def _from_somewhere(self) -> PlugBatchNew:
        if self.lot_id is None and not self.seed_from:
            raise refused("missing", "Say where the seed came from: a lot, or a supplier.", "lot_id or seed_from")
        return self


class PlugNoted(Strict):
    """Plants of a batch were potted on, or died."""

    what: Literal["pricked_out", "lost"]
    count: Count
    on: Day
    note: Annotated[Words, Field(max_length=200)] = ""


class PlugPromiseNew(Strict):
    """Plants of a batch for a project."""

    project_id: Identifier
    count: Count


class PlugPromiseMove(Strict):
    """What becomes of a promise."""

    to: Literal["handed_over", "withdrawn"]
