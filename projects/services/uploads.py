"""Sheets that come in: read, asked about, accepted as returns; many returns at once."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from modelling.errors import FieldError, RequestRefused
from modelling.reading import read_as
from projects import sheets
from projects.choices import CameBy, UploadState
from projects.contracts.base import Identifier, Strict
from projects.contracts.returns import ReturnNew
from projects.contracts.uploads import MOST_ANSWERS, ReturnsBatch, UploadAccept, UploadAnswers, UploadAsked
from projects.errors import Refused, RuleBroken, Stale, WrongState, broken
from projects.models import (
    Group,
    MeadowProject,
    Network,
    OutcomeReturn,
    RefusedRow,
    ReturnVersion,
    SheetUpload,
    UploadPart,
)
from projects.rules import uploads as rules
from projects.rules.access import Actor, demand, visible_inner
from projects.selectors.returns import remembered_names, settled_as_known, settled_content
from projects.selectors.uploads import PartRead, Reading, reading_of
from projects.services.audit import record
from projects.services.base import found, person, save_changed, save_new, unchanged_since
from projects.services.returns import return_send

#: what the ids of submissions made here are derived under
_NAMESPACE: Final = UUID("5f0cbca5-7d0e-4f9a-8f43-6a54c1f1b6f4")
_ROWS_AT_ONCE: Final = 1_000
Aim = MeadowProject | Group | Network


# ------------------------------------------------------------------ coming in


def upload_create(
    *, actor: Actor, aim: Aim, asked: UploadAsked, data: bytes, now: datetime
) -> tuple[SheetUpload, Reading]:
    """Read a file and keep what was read, for a person to look through; nothing is saved as a return.

    Parameters
    ----------
    aim
        The project it is of; or the group or the network whose projects its rows name.

    Raises
    ------
    RuleBroken
        With the field `/file` where it cannot be read as a sheet.
    """
    group = aim.group if isinstance(aim, MeadowProject) else aim if isinstance(aim, Group) else None
    network = aim if isinstance(aim, Network) else aim.network
    demand(actor, "upload.send", group_id=group.pk if group else None, network_id=network.pk)
    owner = person(actor)
    today = timezone.localdate(now)
    if asked.year > today.year:
        raise broken("/year", "in_future", f"{asked.year} is still to come.", asked.year, f"up to {today.year}")
    book = sheets.without_people(read_sheets(data, asked.filename))
    uploads_forget(now=now)
    with transaction.atomic():
        waiting = SheetUpload.objects.filter(created_by=owner, state=UploadState.WAITING).count()
        if waiting >= rules.MOST_WAITING:
            text = f"{waiting} sheets of yours wait to be looked through; accept or remove some first."
            raise broken("/file", "too_many", text, waiting, f"at most {rules.MOST_WAITING}")
        mends = None
        if asked.mends is not None:
            mends = found(SheetUpload, visible_inner(actor), asked.mends, "sheet")
        row = save_new(
            SheetUpload(
                network=network,
                group=group,
                project=aim if isinstance(aim, MeadowProject) else None,
                mends=mends,
                year=asked.year,
                filename=asked.filename[:80],
                size_bytes=len(data),
                checksum=hashlib.sha256(data).hexdigest(),
                cells=sheets.kept_text(book),
                created_by_id=owner,
                created_at=now,
                updated_at=now,
                expires_at=now + rules.KEPT,
            )
        )
        reading = reading_of(actor, row, today, book)
        _keep_refused(row, reading)
        record(
            actor, now, "upload_create", "upload", row.public_id, network=network.pk, group=group.pk if group else None,
            after={
                "year": row.year, "checksum": row.checksum, "returns": len(reading.parts),
                "rows": len(reading.rows), "refused": len(reading.refused),
            },
        )  # fmt: skip
    return row, reading


def read_sheets(data: bytes, filename: str) -> list[sheets.Sheet]:
    """Return the sheets of a file; raises RuleBroken with the field `/file` where it is none."""
    try:
        return sheets.read_table(data, filename)
    except sheets.SheetRefused as refusal:
        raise broken("/file", refusal.code, refusal.detail, filename[:80] or None, refusal.expected) from refusal


def _keep_refused(row: SheetUpload, reading: Reading) -> None:
    """Keep the rows that give nothing to a return, as they are understood now."""
    RefusedRow.objects.filter(upload=row).delete()
    RefusedRow.objects.bulk_create(
        [
            RefusedRow(
                upload=row,
                project=part.project if part is not None else None,
                year=part.year if part is not None else row.year,
                sheet=source.sheet[:100],
                number=source.number,
                cells=source.cells,
                reasons=[[r.code, r.text, r.address, r.read, r.expected] for r in source.reasons],
            )
            for source, part in reading.refused
        ],
        batch_size=_ROWS_AT_ONCE,
    )


def uploads_forget(*, now: datetime) -> int:
    """Delete sheets whose time is over, with their refused rows; how many there were."""
    gone, _ = SheetUpload.objects.filter(expires_at__lte=now).delete()
    return gone


# ------------------------------------------------------------------ looked through


def upload_answer(
    *, actor: Actor, public_id: UUID, asked: UploadAnswers, if_version: int | None, now: datetime
) -> Reading:
    """Answer questions about a sheet; it is understood anew by them."""
    with transaction.atomic():
        row = _held(actor, public_id, "upload.send", if_version, now)
        if row.state != UploadState.WAITING:
            raise WrongState("This sheet was accepted; what it came to is in its returns.")
        today = timezone.localdate(now)
        known = {question.key: question for question in reading_of(actor, row, today).questions}
        for key, value in asked.answers.items():
            question = known.get(key)
            if question is None and key not in row.answers:
                raise broken(
                    f"/answers/{_escaped(key)}",
                    "unknown",
                    f"Nothing is asked under {key[:80]!r}.",
                    value,
                    "a question's key",
                )
            if question is not None and not _answers(question, value):
                allowed = [choice.value for choice in question.choices]
                allowed += {"day": ["a day, YYYY-MM-DD"], "taxon": ["a plant's key"]}.get(question.free, [])
                raise broken(
                    f"/answers/{_escaped(key)}",
                    "unknown_word",
                    f"{value[:80]!r} is no answer to: {question.text}",
                    value,
                    "; ".join(allowed)[:500],
                )
        row.answers = row.answers | asked.answers
        if len(row.answers) > 4 * MOST_ANSWERS:
            raise broken("/answers", "too_many", "Too many answers for one sheet; mend the file.", None, "fewer")
        save_changed(row, now)
        reading = reading_of(actor, row, today)
        _keep_refused(row, reading)
        record(
            actor, now, "upload_answer", "upload", row.public_id, network=row.network_id, group=row.group_id,
            after={"answered": len(asked.answers), "refused": len(reading.refused)},
        )  # fmt: skip
    return reading


def _escaped(key: str) -> str:
    return key.replace("~", "~0").replace("/", "~1")


def _answers(question: sheets.Question, value: str) -> bool:
    if any(choice.value == value for choice in question.choices):
        return True
    return sheets.fits(question.free, value)


def upload_remove(*, actor: Actor, public_id: UUID, if_version: int | None, now: datetime) -> None:
    """Throw a sheet away with its refused rows; returns it came to stay."""
    with transaction.atomic():
        row = _held(actor, public_id, "upload.remove", if_version, now)
        record(
            actor, now, "upload_remove", "upload", row.public_id, network=row.network_id, group=row.group_id,
            before={"checksum": row.checksum, "state": row.state},
        )  # fmt: skip
        row.delete()


def _held(actor: Actor, public_id: UUID, act: str, if_version: int | None, now: datetime) -> SheetUpload:
    seen = visible_inner(actor) & Q(expires_at__gt=now)
    row = found(SheetUpload, seen, public_id, "sheet", hold=True)
    demand(actor, act, group_id=row.group_id, network_id=row.network_id)
    unchanged_since(row, if_version)
    return row


# ------------------------------------------------------------------ accepted


@dataclass(frozen=True)
class Taken:
    """A meadow's year as it was taken in."""

    outcome: OutcomeReturn
    version: ReturnVersion
    added: bool


def upload_accept(*, actor: Actor, public_id: UUID, asked: UploadAccept, now: datetime) -> list[UploadPart]:
    """Take a sheet in: each meadow's year becomes a version of its return, or nothing where all of it is there.

    At most `rules.MOST_AT_ONCE` returns are taken in by one call; the others wait for the next. Accepted again, nothing
    changes.

    Raises
    ------
    Stale
        If accepting would do something else than was shown: somebody answered, or sent one of the returns.
    WrongState
        If a question is open, or nothing of it can be taken.
    """
    today = timezone.localdate(now)
    with transaction.atomic():
        row = _held(actor, public_id, "upload.accept", None, now)
        if row.state == UploadState.ACCEPTED:
            return list(row.parts.all())
        reading = reading_of(actor, row, today)
        if reading.preview != asked.preview:
            raise Stale("This would do something else by now than what you saw; look at it again.")
        waiting = [part for part in reading.parts if part.accepted is None]
        ready = [part for part in waiting if part.ready]
        # a meadow that is not known may be one of these: its rows would come too late
        if not ready or any(question.code == "meadow" for question in reading.questions):
            raise WrongState(_why_not(reading, waiting))
    for part in ready[: rules.MOST_AT_ONCE]:
        # nothing is worked out while rows are held: each return is sent, and judged, in a transaction of its own
        _take(actor, row, part, asked.how, now)
    with transaction.atomic():
        row = _held(actor, public_id, "upload.accept", None, now)
        done = set(row.parts.values_list("project", "year"))
        if row.state == UploadState.WAITING and all((part.project.pk, part.year) in done for part in reading.parts):
            row.state = UploadState.ACCEPTED
            save_changed(row, now)
            record(
                actor, now, "upload_accept", "upload", row.public_id, network=row.network_id, group=row.group_id,
                after={"returns": len(done), "refused": len(reading.refused), "how": asked.how},
            )  # fmt: skip
    return list(row.parts.all())


def _why_not(reading: Reading, waiting: list[PartRead]) -> str:
    open_ones = [question for question in reading.questions if question.code not in rules.MAY_STAY_OPEN]
    open_ones.sort(key=lambda question: question.code != "meadow")
    if open_ones:
        return f"Answer first: {open_ones[0].text}"
    faults = [fault for part in waiting for fault in part.faults]
    return faults[0].detail if faults else "No row of this sheet can be taken in."


def _take(actor: Actor, upload: SheetUpload, part: PartRead, how: Literal["add", "replace"], now: datetime) -> None:
    """Send one meadow's year, and note what it came to; the same again changes nothing."""
    asked = part.asked
    if asked is None:
        return
    same = part.same if how == "add" else part.same_alone
    if same and part.outcome is not None and part.outcome.current is not None:
        outcome, added = part.outcome, False
    else:
        told = part.joined if how == "add" and part.joined is not None else asked
        submission = submission_of(part.project, told, part.number)
        outcome, added = return_send(
            actor=actor,
            project_id=part.project.public_id,
            asked=told.model_copy(update={"submission_id": submission}),
            now=now,
            came_by=CameBy.SHEET,
            beside=part.number,
        )
    with transaction.atomic():
        current = outcome.current
        if current is not None:
            UploadPart.objects.get_or_create(
                upload=upload,
                project=part.project,
                year=part.year,
                defaults={
                    "version_of_return": current, "added": added, "created_by_id": actor.user_id, "created_at": now,
                },
            )  # fmt: skip


def submission_of(project: MeadowProject, told: ReturnNew, number: int) -> UUID:
    """The submission id of a return that came without one: the same for the same content after the same version."""
    said = f"{project.public_id} {told.year} {number} {rules.content_key(told, taxa=False)}"
    return uuid5(_NAMESPACE, said)


# ------------------------------------------------------------------ many returns at once


class BatchLine(Strict):
    """Whose return a line of a batch is."""

    project_id: Identifier


@dataclass(frozen=True)
class BatchAnswer:
    """What became of one return of a batch."""

    outcome: OutcomeReturn | None
    added: bool = False
    refusal: Refused | RequestRefused | None = None


def returns_send_batch(*, actor: Actor, asked: ReturnsBatch, now: datetime) -> Iterable[BatchAnswer]:
    """Send many returns, each wholly or not at all, and yield what became of each in turn."""
    for data in asked.returns:
        try:
            yield _send_one(actor, data, now)
        except (Refused, RequestRefused) as refusal:
            yield BatchAnswer(None, refusal=refusal)


def _send_one(actor: Actor, data: Mapping[str, Any], now: datetime) -> BatchAnswer:
    line, told = _read_line(data)
    if told.submission_id is not None:
        outcome, added = return_send(actor=actor, project_id=line.project_id, asked=told, now=now, came_by=CameBy.API)
        return BatchAnswer(outcome, added)
    # without an id of the sender's, the same content is told by itself
    project = found(MeadowProject, visible_inner(actor), line.project_id, "project")
    row = OutcomeReturn.objects.filter(project=project, year=told.year).select_related("current").first()
    number = 0
    if row is not None and row.current is not None:
        number = row.current.number
        alone = settled_as_known(told, remembered_names(project.group_id))
        if rules.content_key(alone, taxa=True) == rules.content_key(settled_content(row.current), taxa=True):
            demand(actor, "return.send", group_id=project.group_id, network_id=project.network_id)
            return BatchAnswer(row, False)
    outcome, added = return_send(
        actor=actor,
        project_id=line.project_id,
        asked=told.model_copy(update={"submission_id": submission_of(project, told, number)}),
        now=now,
        came_by=CameBy.API,
        beside=number,
    )
    return BatchAnswer(outcome, added)


def _read_line(data: Mapping[str, Any]) -> tuple[BatchLine, ReturnNew]:
    """Read a line, with all its faults at once."""
    faults: list[FieldError] = []
    line, told = None, None
    try:
        line = read_as(BatchLine, {name: data[name] for name in ("project_id",) if name in data})
    except RequestRefused as refusal:
        faults += refusal.errors
    try:
        told = read_as(ReturnNew, {name: value for name, value in data.items() if name != "project_id"})
    except RequestRefused as refusal:
        faults += refusal.errors
    if line is None or told is None:
        raise RuleBroken(faults[0].detail, faults)
    return line, told
