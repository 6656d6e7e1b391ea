"""Answers about the reference tables."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

# As the reader of the tables has them; a test compares.
Confidence = Literal["published", "restated", "fitted", "common practice", "from memory"]


class Answer(BaseModel):
    """Base of these answers: what is described is all there is."""

    model_config = ConfigDict(extra="forbid")


class TableEntry(Answer):
    """One table, without its rows."""

    table: str
    title: str
    kind: Literal["numbers", "words"]
    row_count: int
    url: str


class ReferenceIndex(Answer):
    """The tables that the estimates use, all covered by one checksum."""

    release: str
    model_version: str
    reference_checksum: str = Field(description="SHA-256 over the tables; every recipe names it.")
    tables: list[TableEntry]
    sources_url: str
    model_card_url: str


class NumberRow(BaseModel):
    """One number with its unit, its spread and where it comes from. Prices also name pack and VAT."""

    model_config = ConfigDict(extra="allow")

    subject: str
    label: str = Field(description="The subject in words.")
    quantity: str
    low: float | None
    mode: float | None
    high: float | None
    shape: str = Field(description="Law that it is drawn from; says what low, mode and high are.")
    unit: str
    unit_in_words: str
    valid_from: str
    source_id: str
    source: str = Field(description="Short citation.")
    locator: str = Field(description="Where in the source.")
    condition: str
    confidence: Confidence
    note: str


class WordRow(BaseModel):
    """One row of a table of words: its columns by name."""

    model_config = ConfigDict(extra="allow")

    source: str = Field(description="Short citation.")


class ReferencePage(Answer):
    """Rows of one table, at most 100 at a time."""

    table: str
    title: str
    kind: Literal["numbers", "words"]
    reference_checksum: str
    row_count: int = Field(description="Rows that fit the filters, on all pages together.")
    page: int
    page_count: int
    next: str | None = Field(description="Address of the next page; null on the last.")
    rows: list[NumberRow] | list[WordRow]


class Source(BaseModel):
    """One source."""

    model_config = ConfigDict(extra="allow")

    source_id: str
    author: str
    year: str
    title: str
    publication: str
    kind: str
    licence: str
    note: str


class SourceList(Answer):
    """Every source that a number or a word is taken from."""

    reference_checksum: str
    sources: list[Source]


class ModelCard(Answer):
    """What the model is, what it was checked against, and what it does not know."""

    release: str
    model_version: str
    reference_checksum: str
    markdown: str
