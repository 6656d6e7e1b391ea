"""Reads of sheets that came in: what was understood in them, row by row, and what accepting them would do."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from uuid import UUID

import orjson
from django.db.models import QuerySet

from modelling.errors import FieldError, RequestRefused
from modelling.reading import read_as
from projects import sheets
from projects.contracts.returns import ReturnNew
from projects.errors import NotFound
from projects.models import (
    Group,
    MeadowProject,
    NameChoice,
    Network,
    OutcomeReturn,
    RefusedRow,
    SheetUpload,
    UploadPart,
)
from projects.rules import returns as return_rules
from projects.rules import uploads as rules
from projects.rules.access import Actor, demand, visible_inner
from projects.selectors.returns import expected_taxa, names_settled_in, settled_as_known, settled_content
from projects.sheets import Question, SourceRow, Understood

#: quadrats in a template where nothing is known of earlier walks; common practice
USUAL_QUADRATS = 10


def upload_list(actor: Actor, now: datetime) -> QuerySet[SheetUpload]:
    """Sheets of the actor's own groups and networks whose time is not over, without their cells."""
    rows = SheetUpload.objects.filter(visible_inner(actor), expires_at__gt=now)
    return rows.select_related("network", "group", "project", "created_by", "mends").defer("cells")


def upload_get(actor: Actor, public_id: UUID, now: datetime) -> SheetUpload:
    """One sheet; raises NotFound."""
    row = upload_list(actor, now).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no sheet {public_id}, or none that you may see; each is kept for 30 days.")
    return row


def refused_rows_of(upload: SheetUpload) -> QuerySet[RefusedRow]:
    """Rows of a sheet that gave nothing to a return."""
    return upload.refused_rows.select_related("project").order_by("pk")


def template_for(actor: Actor, project: MeadowProject, year: int) -> sheets.TemplateFor:
    """What a template for a project's summer is made from; raises NotAllowed for strangers."""
    demand(actor, "upload.read", group_id=project.group_id, network_id=project.network_id)
    row = OutcomeReturn.objects.filter(project=project, year__lt=year).order_by("-year").select_related("current")
    before = row.first()
    quadrats, seen = 0, []
    if before is not None and before.current is not None:
        content = settled_content(before.current)
        quadrats = max((len(visit.quadrats) for visit in content.visits), default=0)
        seen = [record.taxon for record in return_rules.every_record(content) if record.taxon]
    return sheets.TemplateFor(
        public_id=str(project.public_id),
        name=project.name,
        year=year,
        submission_id="",
        species=tuple(dict.fromkeys([*expected_taxa(actor, project), *seen])),
        quadrats=quadrats or USUAL_QUADRATS,
    )


# ------------------------------------------------------------------ what was understood


@dataclass
class PartRead:
    """One meadow's year in a sheet."""

    project: MeadowProject
    year: int
    understood: Understood
    #: as its return would be sent, names settled as far as they are known; None where it cannot be yet
    asked: ReturnNew | None = None
    faults: tuple[FieldError, ...] = ()
    #: what a return has no room for
    left: tuple[str, ...] = ()
    outcome: OutcomeReturn | None = None
    #: together with what was sent before
    joined: ReturnNew | None = None
    change: rules.Change = field(default_factory=rules.Change)
    #: whether the return tells all of it already
    same: bool = False
    #: whether putting the sheet in the place of what was sent would change nothing
    same_alone: bool = False
    accepted: UploadPart | None = None

    @property
    def number(self) -> int:
        """Number of the version that it was laid beside; 0 where nothing was sent."""
        return self.outcome.current.number if self.outcome is not None and self.outcome.current is not None else 0

    @property
    def open_questions(self) -> list[Question]:
        """Questions that must be answered first."""
        return [question for question in self.understood.questions if question.code not in rules.MAY_STAY_OPEN]

    @property
    def ready(self) -> bool:
        """Whether it can be accepted."""
        return self.asked is not None and not self.faults and not self.open_questions and self.accepted is None


@dataclass
class Reading:
    """A sheet as it is understood now."""

    upload: SheetUpload
    sheets: list[sheets.Sheet]
    parts: list[PartRead]
    rows: list[tuple[SourceRow, PartRead | None]]
    questions: list[Question]
    shapes: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    headings: Mapping[str, int]

    @property
    def preview(self) -> str:
        """A checksum of what accepting would do; it changes as soon as that would be something else."""
        said = [
            [
                str(part.project.public_id),
                part.year,
                part.number,
                rules.content_key(part.asked, taxa=True) if part.asked is not None else "",
                part.accepted is not None,
            ]
            for part in self.parts
        ]
        return hashlib.sha256(orjson.dumps([self.upload.version, said])).hexdigest()

    @property
    def refused(self) -> list[tuple[SourceRow, PartRead | None]]:
        return [(row, part) for row, part in self.rows if row.state == "refused"]

    def as_one(self) -> Understood:
        """All rows as if of one survey, for giving back those that were refused."""
        return Understood((), tuple(row for row, _ in self.rows), (), {}, headings=self.headings)


def places_of(actor: Actor, upload: SheetUpload) -> list[MeadowProject]:
    """Projects that rows of a sheet may be of."""
    if upload.project_id is not None:
        found = MeadowProject.objects.filter(pk=upload.project_id)
    elif upload.group_id is not None:
        found = MeadowProject.objects.filter(group=upload.group_id)
    else:
        found = MeadowProject.objects.filter(network=upload.network_id)
    return list(found.filter(visible_inner(actor)).select_related("site", "group", "network").order_by("name", "pk"))


def reading_of(actor: Actor, upload: SheetUpload, today: date, book: list[sheets.Sheet] | None = None) -> Reading:
    """Understand a sheet by what is known now: names remembered, answers given, returns that are there.

    Parameters
    ----------
    book
        The sheets, where they were read just now; else they are taken from what was kept.
    """
    book = sheets.read_kept(upload.cells) if book is None else book
    projects = {str(project.public_id): project for project in places_of(actor, upload)}
    places = tuple(sheets.Place(key, (row.name, row.site.name)) for key, row in projects.items())
    divided = sheets.divide(book, places, upload.year, today, upload.answers, many=upload.project_id is None)
    concerned = {projects[part.place.key].pk for part in divided.parts}
    groups = {projects[part.place.key].group_id for part in divided.parts}
    remembered: dict[int, dict[str, str]] = {group: {} for group in groups}
    for group, folded, taxon in NameChoice.objects.filter(group__in=groups).values_list("group", "folded", "taxon"):
        remembered[group][folded] = taxon
    outcomes = {
        (row.project_id, row.year): row
        for row in OutcomeReturn.objects.filter(project__in=concerned).select_related("current", "agreed")
    }
    settled = names_settled_in(row.current_id for row in outcomes.values() if row.current_id is not None)
    accepted = {(row.project_id, row.year): row for row in upload.parts.select_related("version_of_return")}
    parts = []
    for part in divided.parts:
        project = projects[part.place.key]
        known = remembered[project.group_id]
        prefix = f"{part.place.key[:8]}.{part.year}:" if upload.project_id is None or len(divided.parts) > 1 else ""
        answers = _answers(upload.answers, prefix)
        for_year = sheets.ForYear(part.year, part.place.key, known, answers)
        found = _prefixed(sheets.understand(list(part.sheets), for_year, divided.whole), prefix)
        read = PartRead(project, part.year, found)
        read.outcome = outcomes.get((project.pk, part.year))
        read.accepted = accepted.get((project.pk, part.year))
        _lay_beside(read, known, settled, today, upload)
        parts.append(read)
    return _reading(upload, book, parts, divided)


#: what every part of a sheet is asked for itself
_OWN = ("day:walk", "template:")


def _answers(said: Mapping[str, str], prefix: str) -> dict[str, str]:
    if not prefix:
        return dict(said)
    own = {key.removeprefix(prefix): value for key, value in said.items() if key.startswith(prefix)}
    return {key: value for key, value in said.items() if not key.startswith(_OWN)} | own


def _prefixed(found: Understood, prefix: str) -> Understood:
    if not prefix:
        return found
    return replace(
        found,
        questions=tuple(
            replace(question, key=f"{prefix}{question.key}") if question.key.startswith(_OWN) else question
            for question in found.questions
        ),
    )


def _lay_beside(
    read: PartRead,
    remembered: Mapping[str, str],
    settled: Mapping[int, Mapping[str, str]],
    today: date,
    upload: SheetUpload,
) -> None:
    """Put a part into the words of a return, look it through, and lay it beside what was sent before."""
    said, left = rules.return_said(read.understood.survey)
    read.left = tuple(left)
    wrong_place = [key for key, value in upload.answers.items() if key.endswith("template:project") and value == "stop"]
    if wrong_place:
        read.faults = (FieldError("", "other_project", "The sheet was made for another meadow; remove it here."),)
        return
    if not any(visit["quadrats"] or visit["whole_site"] for visit in said["visits"]) and not said["work"]:
        return
    try:
        alone = settled_as_known(read_as(ReturnNew, said), remembered)
        read.asked = alone
        current = read.outcome.current if read.outcome is not None else None
        there = settled_content(current, settled[current.pk]) if current is not None else None
        if there is not None:
            read.joined, read.change = rules.joined(there, alone, read.understood.survey["work"])
            read.same = rules.content_key(read.joined, taxa=True) == rules.content_key(there, taxa=True)
            read.same_alone = rules.content_key(alone, taxa=True) == rules.content_key(there, taxa=True)
        read.faults = tuple(return_rules.errors(read.joined or alone, today))
    except RequestRefused as refusal:
        read.faults = tuple(refusal.errors)


def _reading(upload: SheetUpload, book: list[sheets.Sheet], parts: list[PartRead], divided: sheets.Divided) -> Reading:
    rows: dict[tuple[str, int], tuple[SourceRow, PartRead | None]] = {}
    questions: dict[str, Question] = {question.key: question for question in divided.questions}
    shapes: dict[str, str] = {}
    headings = dict(divided.headings)
    for part in parts:
        for row in part.understood.rows:
            place = (row.sheet, row.number)
            # what stands above the table is told of in every part
            if place not in rows or (row.state != "taken" and rows[place][0].state == "taken"):
                rows[place] = (row, part)
        for question in part.understood.questions:
            there = questions.get(question.key)
            questions[question.key] = question if there is None else _together(there, question)
        shapes |= dict(part.understood.shapes)
        headings |= part.understood.headings
    for row in divided.loose:
        rows[row.sheet, row.number] = (row, None)
    order = {sheet.name: number for number, sheet in enumerate(book)}
    ordered = sorted(rows.values(), key=lambda pair: (order.get(pair[0].sheet.partition(" (")[0], 99), pair[0].number))
    notes = tuple(dict.fromkeys(note for part in parts for note in part.understood.notes))
    return Reading(upload, book, parts, ordered, list(questions.values()), tuple(shapes.items()), notes, headings)


def _together(first: Question, second: Question) -> Question:
    return replace(first, rows=tuple(dict.fromkeys([*first.rows, *second.rows])))


def uploads_of(actor: Actor, now: datetime, *, aim: MeadowProject | Group | Network) -> Sequence[SheetUpload]:
    """Sheets of a project, a group or a network, the latest first."""
    rows = upload_list(actor, now)
    match aim:
        case MeadowProject():
            rows = rows.filter(project=aim)
        case Group():
            rows = rows.filter(group=aim, project__isnull=True)
        case Network():
            rows = rows.filter(network=aim, group__isnull=True)
    return list(rows.order_by("-created_at", "-pk")[:20])
