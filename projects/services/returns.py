"""Yearly returns: sent, settled, asked about, checked, agreed; a later version never overwrites an earlier one."""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import Any, Final
from uuid import UUID, uuid4

import orjson
from django.db import transaction
from django.utils import timezone

from modelling import names
from modelling.selectors import taxon_row
from projects.choices import CameBy, ReturnState, Via
from projects.contracts.returns import NameSettled, NamesSettled, ReturnNew
from projects.errors import RuleBroken, Stale, WrongState, broken
from projects.models import (
    MeadowProject,
    NameChoice,
    OutcomeReturn,
    ReturnQuestion,
    ReturnResult,
    ReturnStep,
    ReturnVersion,
    Settlement,
    TaxonRecord,
)
from projects.rules import returns as rules
from projects.rules.access import Actor, demand, visible_inner, visible_projects
from projects.selectors.returns import known_before, remembered_names, result_of, settled_as_known
from projects.services.audit import record
from projects.services.base import found, save_changed, save_new, unchanged_since
from projects.services.rollups import rollup_put

MOST_VERSIONS: Final = 50
_SEEN: Final = ("project__group", "project__network")

# ------------------------------------------------------------------ sending


def return_send(
    *,
    actor: Actor,
    project_id: UUID,
    asked: ReturnNew,
    now: datetime,
    came_by: str = CameBy.FORM,
    beside: int | None = None,
) -> tuple[OutcomeReturn, bool]:
    """Send a year's return, or a new version of it; with the same submission id again, nothing changes.

    Names that the tables or the group's earlier choices know to the letter are settled; the others wait for a person.

    Parameters
    ----------
    beside
        Number of the version that it was laid beside, 0 for none; Stale if another one stands there by now.

    Returns
    -------
    tuple
        The return, and whether a version was added.
    """
    today = timezone.localdate(now)
    with transaction.atomic():
        project = found(MeadowProject, visible_projects(actor), project_id, "project", hold=True, with_=("network",))
        demand(actor, "return.send", group_id=project.group_id, network_id=project.network_id)
        row = OutcomeReturn.objects.filter(project=project, year=asked.year).first()
        sent = (
            row.versions.filter(submission_id=asked.submission_id) if row is not None and asked.submission_id else None
        )
        if row is not None and sent is not None and sent.exists():
            return row, False
        number = row.current.number if row is not None and row.current is not None else 0
        if beside is not None and beside != number:
            raise Stale(f"The return of {asked.year} was sent anew in the meantime; look at what there is now.")
        faults = list(rules.errors(asked, today))
        if faults:
            raise RuleBroken(faults[0].detail, faults)
        settled = settled_as_known(asked, remembered_names(project.group_id))
        if row is None:
            row = save_new(
                OutcomeReturn(
                    network=project.network,
                    group_id=project.group_id,
                    project=project,
                    year=asked.year,
                    created_at=now,
                    updated_at=now,
                )
            )
        elif row.versions.count() >= MOST_VERSIONS:
            raise broken(
                "", "too_many", f"A return can have {MOST_VERSIONS} versions.", None, f"at most {MOST_VERSIONS}"
            )
        version = _add_version(actor, row, asked, settled, came_by, now)
        for question in rules.questions(settled, known_before(project, asked.year)):
            save_new(
                ReturnQuestion(
                    version_of=version, code=question.code, pointer=question.pointer, text=question.text,
                    created_at=now, updated_at=now,
                )
            )  # fmt: skip
        row.current, row.state = version, ReturnState.SENT
        save_changed(row, now)
        _note(actor, row, "", now)
        record(
            actor, now, "return_send", "return", row.public_id, network=project.network_id, group=project.group_id,
            after={"year": row.year, "version": version.number, "came_by": came_by, "checksum": version.checksum},
        )  # fmt: skip
    _keep_result(actor, row, now)
    return row, True


def _add_version(
    actor: Actor, row: OutcomeReturn, asked: ReturnNew, settled: ReturnNew, came_by: str, now: datetime
) -> ReturnVersion:
    last = row.versions.order_by("-number").values_list("number", flat=True).first()
    text = orjson.dumps(asked.model_dump(mode="json", exclude_unset=True), option=orjson.OPT_SORT_KEYS).decode()
    version = ReturnVersion(
        outcome=row,
        number=(last or 0) + 1,
        submission_id=asked.submission_id or uuid4(),
        content=text,
        checksum=hashlib.sha256(text.encode()).hexdigest(),
        came_by=came_by,
        on_behalf=row.group_id not in actor.groups and actor.via != Via.COMMAND,
        created_by_id=actor.user_id,
        created_at=now,
    )
    version.full_clean(validate_unique=False, validate_constraints=False)
    version.save()
    TaxonRecord.objects.bulk_create(_records(version, settled), batch_size=500)
    return version


def _records(version: ReturnVersion, settled: ReturnNew) -> list[TaxonRecord]:
    rows = []
    for visit in settled.visits:
        rows += [_row(version, visit.on, "", False, item) for item in visit.whole_site]
        for quadrat in visit.quadrats:
            control = quadrat.part == "control"
            rows += [_row(version, visit.on, quadrat.label, control, item) for item in quadrat.records]
    return rows


def _row(version: ReturnVersion, on: Any, quadrat: str, control: bool, item: Any) -> TaxonRecord:
    return TaxonRecord(
        version_of=version, on=on, quadrat=quadrat, control=control, taxon=item.taxon or "", name=item.name,
        scale=item.scale, value=item.value,
    )  # fmt: skip


def _note(actor: Actor, row: OutcomeReturn, comment: str, now: datetime) -> None:
    number = row.current.number if row.current else 0
    ReturnStep(
        outcome=row, to_state=row.state, version_number=number, comment=comment,
        created_by_id=actor.user_id, created_at=now,
    ).save()  # fmt: skip


# ------------------------------------------------------------------ names


def name_settle(*, actor: Actor, return_id: UUID, asked: NameSettled, now: datetime) -> int:
    """Say what a written name stands for in a return, and for the group's later ones; how many records it settles."""
    with transaction.atomic():
        row = _held(actor, return_id, "return.settle", None)
        settled = _settle(actor, row, asked, "", now)
        save_changed(row, now)
        _keep_sums(row, now)
    _keep_result(actor, row, now)
    return settled


def names_settle(
    *, actor: Actor, return_id: UUID, asked: NamesSettled, if_version: int | None, now: datetime
) -> OutcomeReturn:
    """Say what several written names stand for, all or none."""
    with transaction.atomic():
        row = _held(actor, return_id, "return.settle", if_version)
        for number, name in enumerate(asked.names):
            _settle(actor, row, name, f"/names/{number}", now)
        save_changed(row, now)
        _keep_sums(row, now)
    _keep_result(actor, row, now)
    return row


def _settle(actor: Actor, row: OutcomeReturn, asked: NameSettled, at: str, now: datetime) -> int:
    if asked.taxon is not None and taxon_row(asked.taxon) is None:
        raise broken(
            f"{at}/taxon",
            "unknown_plant",
            f"{asked.taxon!r} is not a plant known here.",
            asked.taxon,
            "a key of the plant list",
        )
    folded = names.folded(asked.name)
    there = [item for item in TaxonRecord.objects.filter(version_of=row.current) if names.folded(item.name) == folded]
    if not there:
        raise broken(
            f"{at}/name", "unknown", f"{asked.name!r} does not stand in this return.", asked.name, "a name in it"
        )
    Settlement.objects.update_or_create(
        version_of=row.current,
        folded=folded,
        defaults={"taxon": asked.taxon or "", "created_by_id": actor.user_id, "created_at": now},
    )
    TaxonRecord.objects.filter(pk__in=[item.pk for item in there]).update(taxon=asked.taxon or "")
    if asked.remember and asked.taxon is not None:
        NameChoice.objects.update_or_create(
            group_id=row.group_id, folded=folded, defaults={"taxon": asked.taxon, "created_at": now}
        )
    record(
        actor, now, "name_settle", "return", row.public_id, network=row.network_id, group=row.group_id,
        after={"name": asked.name, "taxon": asked.taxon, "records": len(there)},
    )  # fmt: skip
    return len(there)


# ------------------------------------------------------------------ questions, checking, agreeing


def question_answer(
    *, actor: Actor, public_id: UUID, answer: str, if_version: int | None = None, now: datetime
) -> ReturnQuestion:
    """Answer a question about a return, until the answer is accepted."""
    with transaction.atomic():
        question = _question(actor, public_id)
        row = question.version_of.outcome
        demand(actor, "return.answer", group_id=row.group_id, network_id=row.network_id)
        if question.accepted_at is not None:
            raise WrongState("This question is settled: what was answered has been accepted.")
        unchanged_since(question, if_version)
        question.answer, question.answered_at = answer, now
        save_changed(question, now)
        record(
            actor, now, "question_answer", "return", row.public_id, network=row.network_id, group=row.group_id,
            after={"code": question.code, "answer": answer},
        )  # fmt: skip
    return question


def question_accept(*, actor: Actor, public_id: UUID, if_version: int | None = None, now: datetime) -> ReturnQuestion:
    """Accept what a question was answered with, or let it go unanswered; accepted again, nothing changes."""
    with transaction.atomic():
        question = _question(actor, public_id)
        row = question.version_of.outcome
        demand(actor, "return.check", group_id=row.group_id, network_id=row.network_id)
        if question.accepted_at is not None:
            return question
        unchanged_since(question, if_version)
        question.accepted_at = now
        save_changed(question, now)
        record(
            actor, now, "question_accept", "return", row.public_id, network=row.network_id, group=row.group_id,
            after={"code": question.code},
        )  # fmt: skip
    return question


def _question(actor: Actor, public_id: UUID) -> ReturnQuestion:
    seen = visible_inner(actor, "version_of__outcome__group", "version_of__outcome__network")
    return found(ReturnQuestion, seen, public_id, "question", hold=True, with_=("version_of__outcome",))


def return_check(
    *, actor: Actor, return_id: UUID, comment: str = "", if_version: int | None, now: datetime
) -> OutcomeReturn:
    """Take up a return to look it through."""
    return _go(actor, return_id, ReturnState.CHECKING, comment, if_version, now)


def return_send_back(
    *, actor: Actor, return_id: UUID, comment: str, if_version: int | None, now: datetime
) -> OutcomeReturn:
    """Send a return back to its group, saying why."""
    if not comment:
        raise broken("/comment", "missing", "Say what should be looked at again.", comment, "a sentence")
    return _go(actor, return_id, ReturnState.SENT_BACK, comment, if_version, now)


def return_agree(
    *, actor: Actor, return_id: UUID, comment: str, if_version: int | None, now: datetime
) -> OutcomeReturn:
    """Agree a return: from now on its current version counts, until a later one is agreed."""
    # judged before rows are held; what is kept is then only read
    _keep_result(actor, found(OutcomeReturn, visible_inner(actor), return_id, "return"), now)
    return _go(actor, return_id, ReturnState.AGREED, comment, if_version, now)


def _go(
    actor: Actor, return_id: UUID, to: ReturnState, comment: str, if_version: int | None, now: datetime
) -> OutcomeReturn:
    with transaction.atomic():
        row = _held(actor, return_id, "return.check", if_version)
        if not rules.may_follow(row.state, to):
            raise WrongState(
                f"This return is {row.get_state_display().lower()}; it cannot be {to.label.lower()} from there."
            )
        if to == ReturnState.AGREED:
            open_ones = row.current.questions.filter(accepted_at__isnull=True).count() if row.current else 0
            if open_ones:
                are = "is" if open_ones == 1 else "are"
                raise WrongState(f"{open_ones} of its questions {are} not accepted yet; accept each, or send it back.")
            row.agreed = row.current
        row.state = to
        save_changed(row, now)
        if to == ReturnState.AGREED:
            rollup_put(row, now)
        _note(actor, row, comment, now)
        record(
            actor, now, f"return_{to}", "return", row.public_id, network=row.network_id, group=row.group_id,
            after={"state": to, "version": row.current.number if row.current else None},
        )  # fmt: skip
    if to == ReturnState.AGREED:
        _keep_result(actor, row, now)
    return row


def _keep_sums(row: OutcomeReturn, now: datetime) -> None:
    """Names settled in the version that counts change what it comes to."""
    if row.agreed_id is not None and row.agreed_id == row.current_id:
        rollup_put(row, now)


def _held(actor: Actor, return_id: UUID, act: str, if_version: int | None) -> OutcomeReturn:
    row = found(OutcomeReturn, visible_inner(actor), return_id, "return", hold=True)
    demand(actor, act, group_id=row.group_id, network_id=row.network_id)
    unchanged_since(row, if_version)
    return row


# ------------------------------------------------------------------ what it comes to


def _keep_result(actor: Actor, row: OutcomeReturn, now: datetime) -> None:
    """Judge what is being looked at and keep the result, if it is not kept yet; earlier results stay beside it.

    By the rules of this release and the names as they are settled now. Called after an act, whose transaction is over:
    nothing is worked out while rows are held.
    """
    version = row.current
    judged = result_of(version) if version is not None else None
    if version is None or judged is None or judged.kept_at is not None:
        return
    with transaction.atomic():
        ReturnVersion.objects.select_for_update().get(pk=version.pk)
        if ReturnResult.objects.filter(version_of=version, **judged.recipe).exists():
            return
        result = ReturnResult(
            version_of=version, text=judged.text, checksum=judged.checksum, created_at=now, **judged.recipe
        )
        result.save()
        record(
            actor, now, "return_judge", "return", row.public_id, network=row.network_id, group=row.group_id,
            after={"version": version.number, "checksum": judged.checksum, **judged.recipe},
        )  # fmt: skip
