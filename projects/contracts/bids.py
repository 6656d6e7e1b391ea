"""Requests about bids, reviews and notes."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field, model_validator

from projects.contracts.base import (
    Day,
    Identifier,
    LongNote,
    LongText,
    Name,
    Note,
    Phrase,
    Pounds,
    Strict,
    Words,
    refused,
)
from projects.contracts.rounds import Category, Proof, Skill

MOST_PROJECTS: Final = 10
MOST_LINES: Final = 100
MOST_STAGES: Final = 20
MOST_PROMISES: Final = 40
MOST_ATTACHMENTS: Final = 10
MOST_SPECIES: Final = 100
MOST_HOURS: Final = 1_000_000
MOST_BYTES: Final = 10_000_000
#: open data about grants wants titles under 140 letters
Title = Annotated[Phrase, Field(max_length=139)]


class Line(Strict):
    """A line of a budget. Net is quantity times unit price; gross is net and VAT."""

    what: Phrase
    category: Category
    paid_by: Literal["grant", "match", "in_kind"]
    source: Annotated[Words, Field(max_length=120)] = ""
    """Where the money of a match comes from, or who gives in kind."""
    quantity: Annotated[float, Field(gt=0, le=1_000_000)]
    """To three decimals."""
    unit: Annotated[Words, Field(max_length=40)] = ""
    """`h` for hours."""
    skill: Skill | None = None
    """Of volunteers' time."""
    unit_price_gbp: Annotated[Pounds, Field(le=1_000_000)]
    net_gbp: Pounds | None = None
    vat_gbp: Annotated[Pounds, Field(le=1_000_000)] = 0.0
    gross_gbp: Pounds | None = None


class StagePart(Strict):
    """A part of the work after which money is asked for."""

    name: Name
    due_on: Day
    amount_gbp: Pounds
    evidence: Note = ""
    """What will show that it was done."""


class Promise(Strict):
    """What will be there by the end of a year."""

    kind: Literal["species_per_m2", "plant", "area_m2", "volunteer_hours", "people"]
    amount: Annotated[int, Field(ge=1, le=10_000_000)] = 1
    project_id: Identifier | None = None
    """Needed for species and plants."""
    plant: Annotated[Words, Field(max_length=80)] = ""
    """Key of a plant, or `orchids`."""
    by_year: Annotated[int, Field(ge=2000, le=2100)]

    @model_validator(mode="after")
    def _complete(self) -> Promise:
        if self.kind in {"species_per_m2", "plant"} and self.project_id is None:
            raise refused("missing", "Say of which project this is promised.", "project_id")
        if self.kind == "species_per_m2" and self.amount > MOST_SPECIES:
            raise refused("out_of_range", f"Read {self.amount}; no square metre holds so many species.",
                          f"at most {MOST_SPECIES}")  # fmt: skip
        if self.kind == "volunteer_hours" and self.amount > MOST_HOURS:
            raise refused("out_of_range", f"Read {self.amount}; no group gives so many hours.", f"at most {MOST_HOURS}")
        if (self.kind == "plant") != bool(self.plant):
            raise refused("missing", "A promised plant is named, and nothing else is.", "plant with kind plant")
        return self


class Attachment(Strict):
    """A paper that goes with the bid, told by its checksum; the file itself is sent aside."""

    name: Name
    size_bytes: Annotated[int, Field(ge=1, le=MOST_BYTES)]
    checksum: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    """SHA-256, hexadecimal."""


class ProofSaid(Strict):
    """Whether a group can show something."""

    what: Proof
    has_it: bool


class BidFields(Strict):
    """What a bid says. Lists are taken whole."""

    summary: Annotated[LongText, Field(max_length=2000)] = ""
    """Published with an award; name no place here that is not to be known."""
    narrative: LongText = ""
    other_funding_note: Annotated[LongText, Field(max_length=2000)] = ""
    starts_on: Day | None = None
    ends_on: Day | None = None
    aftercare_years: Annotated[int, Field(ge=0, le=30)] = 0
    children_come: bool = False
    vat_recovered: bool = False
    """Whether the group gets VAT back; then only net amounts are asked for."""
    project_ids: Annotated[tuple[Identifier, ...], Field(max_length=MOST_PROJECTS, strict=False)] = ()
    lines: Annotated[tuple[Line, ...], Field(max_length=MOST_LINES, strict=False)] = ()
    stages: Annotated[tuple[StagePart, ...], Field(max_length=MOST_STAGES, strict=False)] = ()
    promises: Annotated[tuple[Promise, ...], Field(max_length=MOST_PROMISES, strict=False)] = ()
    attachments: Annotated[tuple[Attachment, ...], Field(max_length=MOST_ATTACHMENTS, strict=False)] = ()
    proofs: Annotated[tuple[ProofSaid, ...], Field(max_length=5, strict=False)] = ()


class BidNew(BidFields):
    """The beginning of a bid."""

    round_id: Identifier
    group_id: Identifier
    title: Title
    """Published with an award; name no place here that is not to be known."""


class BidChange(BidFields):
    """What is to be changed of a bid; lists are taken whole."""

    title: Title = ""


class BidMove(Strict):
    """What becomes of a bid."""

    to: Literal["draft", "checked", "submitted", "withdrawn"]


class ProofSeen(Strict):
    """Somebody saw what a group said it could show."""

    what: Proof
    seen_on: Day


class Score(Strict):
    """The score on one criterion, by its position in the round."""

    criterion: Annotated[int, Field(ge=1, le=100)]
    score: Annotated[int, Field(ge=0, le=100)]
    comment: LongNote = ""


class ReviewWritten(Strict):
    """What an assessor makes of a bid. Sent, it stays, and the others' can be read."""

    scores: Annotated[tuple[Score, ...], Field(max_length=20, strict=False)] = ()
    comment: LongText = ""
    send: bool = False


class FlagAnswered(Strict):
    """What a group says about one flag. Sent again, the later one counts and the earlier one stays."""

    flag: Annotated[int, Field(ge=1, le=1000)]
    """Which one, by its number."""
    text: Annotated[LongText, Field(min_length=1, max_length=2000)]


class NoteNew(Strict):
    """Something to be said about a bid."""

    text: Annotated[LongText, Field(min_length=1)]
