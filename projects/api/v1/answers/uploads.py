"""Sheets that came in."""

from datetime import datetime
from typing import Any
from uuid import UUID

from modelling import names
from projects.api.v1.answers.base import Answer, Named, NounAnswer, named, named_if_any, noun
from projects.api.v1.answers.returns import CandidateAnswer
from projects.models import RefusedRow, SheetUpload
from projects.rules import uploads as rules
from projects.selectors.uploads import PartRead, Reading
from projects.services.uploads import BatchAnswer
from projects.sheets import Question, SourceRow

#: rows that an answer tells of; the others are read page by page
MOST_ROWS = 500


class ReasonAnswer(Answer):
    """Something worth saying about a row."""

    code: str
    text: str
    address: str
    read: str
    expected: str


class RowAnswer(Answer):
    """A row of a sheet and what became of it."""

    sheet: str
    number: int
    role: str
    state: str
    """taken, question or refused; a refused row has given nothing to a return."""
    project: Named | None
    year: int | None
    cells: list[tuple[str, str]]
    """Address and text of each filled cell."""
    reasons: list[ReasonAnswer]


class ChoiceAnswer(Answer):
    """One answer to a question."""

    value: str
    label: str


class SheetQuestionAnswer(Answer):
    """Something only a person can say about a sheet."""

    key: str
    code: str
    text: str
    choices: list[ChoiceAnswer]
    free: str
    """What may be answered beyond the choices: a day as YYYY-MM-DD, or taxon, a plant's key."""
    read: str
    needed: bool
    """Whether it must be answered before the sheet can be accepted; a name can be settled later."""
    rows: int
    """How many rows wait for it."""
    candidates: list[CandidateAnswer]
    """Of a name: plants it may stand for, with their likeness."""


class FaultAnswer(Answer):
    """Something that cannot be."""

    pointer: str
    code: str
    detail: str


class OtherwiseAnswer(Answer):
    """A plant that was told otherwise before."""

    quadrat: str
    name: str
    before: str
    now: str


class PartAnswer(Answer):
    """One meadow's year in a sheet."""

    project: Named
    year: int
    ready: bool
    """Whether it can be accepted now."""
    faults: list[FaultAnswer]
    not_room_for: list[str]
    beside_version: int
    """Number of the version of the return that stands there; 0 where nothing was sent."""
    nothing_new: bool
    """Whether the return tells all of it already: accepting changes nothing."""
    new_quadrats: int
    new_records: int
    missing_records: int
    """Records of what was sent before that the sheet does not hold."""
    told_otherwise: list[OtherwiseAnswer]
    content: dict[str, Any] | None
    """As its return would be sent by itself, names settled as far as they are known."""
    version_id: UUID | None
    """Of the return, once it is accepted."""
    version_number: int | None
    added: bool | None
    """Whether accepting added a version."""


class UploadAnswer(NounAnswer):
    """A sheet that came in."""

    network: Named
    group: Named | None
    project: Named | None
    year: int
    filename: str
    size_bytes: int
    checksum: str
    """SHA-256 of the file, whose bytes are not kept."""
    state: str
    mends: UUID | None
    expires_at: datetime
    """From then on it is not there any more, refused rows and all; returns stay."""


class UploadDetailAnswer(UploadAnswer):
    """A sheet as it is understood now."""

    preview: str
    """To be sent with the acceptance, so that what was seen is what is done."""
    shapes: list[tuple[str, str]]
    """Name of each sheet, and how it is laid out."""
    returns: list[PartAnswer]
    questions: list[SheetQuestionAnswer]
    row_count: int
    refused_count: int
    rows: list[RowAnswer]
    """The first that are refused or wait for an answer."""
    notes: list[str]


class UploadRowsAnswer(Answer):
    """Rows of a sheet, in its order."""

    results: list[RowAnswer]
    row_count: int
    following: int | None
    """What to ask for as `start` next; null at the end."""


class RefusedRowAnswer(Answer):
    """A row that gave nothing to a return."""

    sheet: str
    number: int
    project: Named | None
    year: int
    cells: list[tuple[str, str]]
    reasons: list[ReasonAnswer]


class RefusedRowsAnswer(Answer):
    """Rows that gave nothing to a return, kept until the sheet's time is over."""

    results: list[RefusedRowAnswer]
    expires_at: datetime


class BatchLineAnswer(Answer):
    """What became of one return of a batch."""

    position: int
    status: int
    """201 sent, 200 nothing new, else as for a single return."""
    id: UUID | None
    version_number: int | None
    code: str
    """Of the error; empty where there is none."""
    detail: str
    errors: list[dict[str, Any]]


class BatchAnswers(Answer):
    """What became of each return, in the order they were sent."""

    results: list[BatchLineAnswer]


def _fields(row: SheetUpload) -> dict[str, Any]:
    return {
        **noun(row),
        "network": named(row.network),
        "group": named_if_any(row.group),
        "project": named_if_any(row.project),
        "year": row.year,
        "filename": row.filename,
        "size_bytes": row.size_bytes,
        "checksum": row.checksum,
        "state": row.state,
        "mends": row.mends.public_id if row.mends else None,
        "expires_at": row.expires_at,
    }


def upload_answer(row: SheetUpload) -> dict[str, Any]:
    return UploadAnswer(**_fields(row)).model_dump(mode="json")


def upload_detail(reading: Reading) -> dict[str, Any]:
    waiting = [(row, part) for row, part in reading.rows if row.state != "taken"]
    found = UploadDetailAnswer(
        **_fields(reading.upload),
        preview=reading.preview,
        shapes=list(reading.shapes),
        returns=[_part(part) for part in reading.parts],
        questions=[_question(question) for question in reading.questions],
        row_count=len(reading.rows),
        refused_count=len(reading.refused),
        rows=[_row(row, part) for row, part in waiting[:MOST_ROWS]],
        notes=list(reading.notes),
    )
    return found.model_dump(mode="json")


def rows_answer(reading: Reading, start: int) -> dict[str, Any]:
    shown = reading.rows[start : start + MOST_ROWS]
    end = start + len(shown)
    found = UploadRowsAnswer(
        results=[_row(row, part) for row, part in shown],
        row_count=len(reading.rows),
        following=end if end < len(reading.rows) else None,
    )
    return found.model_dump(mode="json")


def refused_answer(upload: SheetUpload, rows: list[RefusedRow]) -> dict[str, Any]:
    results = [
        RefusedRowAnswer(
            sheet=row.sheet,
            number=row.number,
            project=named_if_any(row.project),
            year=row.year,
            cells=[(address, text) for address, text in row.cells],
            reasons=[
                ReasonAnswer(code=code, text=text, address=address, read=read, expected=expected)
                for code, text, address, read, expected in row.reasons
            ],
        )
        for row in rows
    ]
    return RefusedRowsAnswer(results=results, expires_at=upload.expires_at).model_dump(mode="json")


def _row(row: SourceRow, part: PartRead | None) -> RowAnswer:
    return RowAnswer(
        sheet=row.sheet,
        number=row.number,
        role=row.role,
        state=row.state,
        project=named(part.project) if part is not None else None,
        year=part.year if part is not None else None,
        cells=list(row.cells),
        reasons=[
            ReasonAnswer(code=r.code, text=r.text, address=r.address, read=r.read, expected=r.expected)
            for r in row.reasons
        ],
    )


def _question(question: Question) -> SheetQuestionAnswer:
    candidates = names.match(question.read).candidates if question.code in rules.MAY_STAY_OPEN else ()
    return SheetQuestionAnswer(
        key=question.key,
        code=question.code,
        text=question.text,
        choices=[ChoiceAnswer(value=choice.value, label=choice.label) for choice in question.choices],
        free=question.free,
        read=question.read,
        needed=question.code not in rules.MAY_STAY_OPEN,
        rows=len(question.rows),
        candidates=[CandidateAnswer(taxon=each.taxon, name=each.name, score=each.score) for each in candidates],
    )


def _part(part: PartRead) -> PartAnswer:
    accepted = part.accepted
    return PartAnswer(
        project=named(part.project),
        year=part.year,
        ready=part.ready,
        faults=[FaultAnswer(pointer=fault.pointer, code=fault.code, detail=fault.detail) for fault in part.faults],
        not_room_for=list(part.left),
        beside_version=part.number,
        nothing_new=part.same,
        new_quadrats=part.change.quadrats,
        new_records=part.change.records,
        missing_records=part.change.missing,
        told_otherwise=[
            OtherwiseAnswer(quadrat=quadrat, name=name, before=before, now=now)
            for quadrat, name, before, now in part.change.otherwise
        ],
        content=part.asked.model_dump(mode="json", exclude_unset=True) if part.asked is not None else None,
        version_id=accepted.version_of_return.public_id if accepted is not None else None,
        version_number=accepted.version_of_return.number if accepted is not None else None,
        added=accepted.added if accepted is not None else None,
    )


def batch_line(position: int, found: BatchAnswer, problem: dict[str, Any] | None) -> BatchLineAnswer:
    """What became of one return; `problem` is its refusal as a single call would be answered."""
    if problem is not None:
        return BatchLineAnswer(
            position=position, status=problem["status"], id=None, version_number=None, code=problem["code"],
            detail=problem["detail"], errors=problem["errors"],
        )  # fmt: skip
    row = found.outcome
    return BatchLineAnswer(
        position=position,
        status=201 if found.added else 200,
        id=row.public_id if row is not None else None,
        version_number=row.current.number if row is not None and row.current is not None else None,
        code="",
        detail="Sent." if found.added else "Nothing new: the return tells all of it already.",
        errors=[],
    )
