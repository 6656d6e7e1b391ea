"""Answers that list the words a request may use."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class Word(BaseModel):
    """A key for requests, with what people call it."""

    model_config = ConfigDict(extra="forbid")

    key: str
    label: str
    help: str


class OperationWord(Word):
    """A piece of work."""

    stage: str
    scale: str
    skill: str


class MixWord(Word):
    """A seed mix."""

    kind: str


class TaxonWord(Word):
    """A plant; its help is the scientific name."""

    group: str
    sowable: Literal["yes", "no"]


class MachineWord(Word):
    """A machine, for `kit_to_hand`."""

    scale: str


class Vocabularies(BaseModel):
    """Every key that a request may use. Later versions may add words."""

    model_config = ConfigDict(extra="forbid")

    kind: list[Word] = Field(description="Kinds of place.")
    wetness: list[Word]
    shade: list[Word]
    sward: list[Word]
    last_use: list[Word]
    arisings: list[Word]
    grazing: list[Word]
    disposal: list[Word]
    existing_interest: list[Word]
    operations: list[OperationWord]
    mixes: list[MixWord]
    taxa: list[TaxonWord]
    machines: list[MachineWord]
