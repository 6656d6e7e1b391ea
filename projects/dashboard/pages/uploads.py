"""What the pages of a sheet say: what was read, what it would do, and what was left out."""

from __future__ import annotations

from datetime import date
from typing import Any, Final

from django.utils import timezone

from modelling.names import folded
from modelling.selectors import parameters
from projects import sheets
from projects.dashboard import words
from projects.rules.uploads import MAY_STAY_OPEN
from projects.selectors.uploads import PartRead, Reading
from projects.sheets import SourceRow

_LAYOUTS: Final = {
    "template": "the walk’s table",
    "wide": "plants down the side, quadrats across the top",
    "long": "a line for each plant in each quadrat",
    "transposed": "quadrats down the side, plants across the top",
    "list": "a list of plants",
    "work": "work done",
    "page": "lines about the walk",
    "none": "not understood",
}
_HEADS: Final = {
    "quadrat_here": "a quadrat", "plant": "a plant", "name": "the plants’ names", "english": "English names",
    "latin": "Latin names", "quadrat": "which quadrat", "date": "the day", "value": "how much there is",
    "scale": "the scale of the amounts", "part": "sown or unsown part", "elsewhere": "seen elsewhere in the meadow",
    "bare_ground_percent": "bare ground, %", "litter_percent": "litter, %", "sward_height_cm": "height of the sward",
    "forb_cover_percent": "cover of wildflowers, %", "rattle_plants": "plants of yellow rattle",
    "cut": "day of the cut", "rake": "day of raking", "graze": "grazing", "what": "what was done", "hours": "hours",
    "heads": "heads", "money": "money", "meadow": "which meadow", "year": "which year", "note": "a remark",
    "total": "a sum; not used", "surveyor": "a person’s name; not kept",
    "own": "from the list of rows to mend; not used",
}  # fmt: skip
_ROLES: Final = {"heading": "Headings", "title": "About the walk", "total": "A sum, not used", "note": "A remark"}


def many(number: int, one: str, more: str = "") -> str:
    """A number with its word: "three rows"."""
    return f"{words.counted(number)} {words.plural(number, one, more)}"


class PartLine:
    """One meadow's year in a sheet."""

    def __init__(self, part: PartRead) -> None:
        self.part, self.project, self.year = part, part.project, part.year
        survey = part.understood.survey
        self.visits = [visit for visit in survey["visits"] if visit["quadrats"] or visit["whole_site"]]
        self.work = survey["work"]

    @property
    def quadrats(self) -> int:
        return sum(len(visit["quadrats"]) for visit in self.visits)

    @property
    def kinds(self) -> int:
        records = [r for v in self.visits for q in v["quadrats"] for r in q["records"]]
        records += [r for v in self.visits for r in v["whole_site"]]
        return len({record["taxon"] or folded(record["name"]) for record in records})

    @property
    def told(self) -> str:
        """What the sheet tells, in a few words."""
        said = []
        days = [words.day_of_year(visit["on"]) for visit in self.visits if visit["on"]]
        if self.quadrats:
            said.append(f"{many(self.quadrats, 'quadrat')} with {many(self.kinds, 'kind')} of plant")
        elif self.kinds:
            said.append(f"a list of {many(self.kinds, 'kind')} of plant")
        if self.work:
            said.append(many(len(self.work), "line of work", "lines of work"))
        text = words.listed(said) or "nothing that could be read yet"
        return f"{text}, walked on {words.listed(days)}" if days and self.kinds else text

    @property
    def beside(self) -> str:
        """What it would do to what was sent before."""
        part = self.part
        if part.accepted is not None:
            number = part.accepted.version_of_return.number
            return f"Taken in, as version {number}." if part.accepted.added else "The return told all of it already."
        if part.faults:
            return " ".join(words.sentence(fault.detail) for fault in part.faults[:3])
        if part.asked is None:
            return "It cannot be taken in yet."
        if part.number == 0:
            return "Nothing was sent for this year yet."
        if part.same:
            return f"Version {part.number} tells all of it already: nothing would change."
        change = part.change
        said = [
            *([many(change.quadrats, "new quadrat")] if change.quadrats else []),
            *([many(change.records, "new record")] if change.records else []),
            *([many(len(change.otherwise), "record") + " told otherwise"] if change.otherwise else []),
            *([many(change.work, "new line of work", "new lines of work")] if change.work else []),
        ]
        text = f"Beside version {part.number}: {words.listed(said) or 'other figures or remarks'}."
        if change.missing:
            are = words.plural(change.missing, "stands", "stand")
            text += f" {words.opened(many(change.missing, 'record'))} of it {are} not in the sheet."
        return text

    @property
    def otherwise(self) -> list[str]:
        return [
            f"{name}{f' in {quadrat}' if quadrat else ''}: {before} before, {now} in the sheet"
            for quadrat, name, before, now in self.part.change.otherwise[:20]
        ]


class RowLine:
    """A row of a sheet and what became of it."""

    def __init__(self, row: SourceRow, part: PartRead | None, page: UploadPage) -> None:
        self.row = row
        shown = [text for _, text in row.cells if text]
        self.text = " · ".join(shown[:16]) + (" …" if len(shown) > 16 else "")
        self.place = f"Row {row.number}" if page.one_sheet else f"{row.sheet}, row {row.number}"
        self.whose = f"{part.project.name}, {part.year}" if page.many_meadows and part and row.role == "data" else ""
        self.state = self._state(page.is_done)
        self.reasons = [
            f"{reason.text}{f' Right would be: {reason.expected}.' if reason.expected else ''}"
            for reason in row.reasons
        ]

    def _state(self, is_done: bool) -> str:
        row = self.row
        if row.state == "refused":
            return "Left out"
        taxa = parameters().nouns["taxa"]
        names = [taxa[key]["english_name"] if key in taxa else f"“{key}”" for key in row.plants]
        read = (
            f"Read as {words.listed(names)}" if 0 < len(names) < 4 else f"Read as {len(names)} plants" if names else ""
        )
        if row.state == "question":
            read = read or "Not read yet"
            return f"{read}, a name to settle in the return" if is_done else f"{read}; waits for an answer"
        return read or _ROLES.get(row.role, "Read")


class UploadPage:
    """A sheet as it is understood now."""

    def __init__(self, reading: Reading) -> None:
        self.reading, self.row = reading, reading.upload
        self.parts = [PartLine(part) for part in reading.parts]
        self.many_meadows = self.row.project_id is None or len(self.parts) > 1
        self.one_sheet = len({row.sheet for row, _ in reading.rows}) < 2
        self.refused = reading.refused
        self.needed = [question for question in reading.questions if question.code not in MAY_STAY_OPEN]
        self.names = [question for question in reading.questions if question.code in MAY_STAY_OPEN]
        self.accepted = [part for part in self.parts if part.part.accepted is not None]
        self.ready = [part for part in self.parts if part.part.ready]
        if any(question.code == "meadow" for question in self.needed):
            self.ready = []

    @property
    def is_done(self) -> bool:
        return self.row.state == "accepted"

    @property
    def sentence(self) -> str:
        """The answer first."""
        if self.is_done:
            new = sum(1 for part in self.accepted if part.part.accepted and part.part.accepted.added)
            if not new:
                left = f", and {self._left}" if self.refused else ""
                return f"The return told all of this sheet already; nothing was changed{left}."
            text = f"This sheet is taken in: {many(new, 'return')} {words.plural(new, 'was', 'were')} sent"
            return f"{text}; {self._left}." if self.refused else f"{text}."
        if not self.parts:
            why = self._left or self._open or "no plants or work were found"
            return f"Nothing in this sheet can be taken in yet: {why}."
        if len(self.parts) == 1:
            part = self.parts[0]
            text = f"This sheet tells of {part.project.name} in {part.year}: {part.told}"
        else:
            meadows = len({part.project.pk for part in self.parts})
            text = f"This sheet holds {many(len(self.parts), 'return')} of {many(meadows, 'meadow')}"
        tail = words.listed(item for item in (self._left, self._open) if item)
        return f"{text}; {tail}." if tail else f"{text}; every row was read."

    @property
    def _left(self) -> str:
        n = len(self.refused)
        return f"{many(n, 'row')} {words.plural(n, 'is', 'are')} left out" if n else ""

    @property
    def _open(self) -> str:
        n = len(self.needed)
        return f"{many(n, 'question')} must be answered first" if n else ""

    @property
    def standing(self) -> str:
        """That nothing is saved yet, and until when it is kept."""
        until = words.day(timezone.localdate(self.row.expires_at))
        if self.is_done:
            return f"What was read stays here until {until}, then it is deleted; the returns stay."
        return (
            f"Nothing of it is saved as a return yet. What was read stays here until {until}, then it is deleted; the "
            "file itself was not kept."
        )

    @property
    def file(self) -> str:
        sent = words.day(timezone.localdate(self.row.created_at))
        size = f"{self.row.size_bytes / 1000:,.0f} kB" if self.row.size_bytes > 1000 else f"{self.row.size_bytes} bytes"
        return f"{self.row.filename or 'A file'}, {size}, sent on {sent} by {self.row.created_by}"

    @property
    def layouts(self) -> list[tuple[str, str]]:
        return [(name, _LAYOUTS[shape]) for name, shape in self.reading.shapes]

    @property
    def heads(self) -> list[dict[str, Any]]:
        """Headings and what they were taken for; quadrats side by side on one line."""
        lines: list[dict[str, Any]] = []
        for head in sheets.headings_read(self.reading.sheets):
            told = _HEADS.get(head.role, "") if head.role else "not used; what stands there is kept as remarks"
            last = lines[-1] if lines else None
            grouped = head.role in {"quadrat_here", "plant"}
            if last is not None and grouped and last["role"] == head.role and last["sheet"] == head.sheet:
                last["texts"].append(head.text)
            else:
                lines.append({"sheet": head.sheet, "role": head.role, "told": told, "texts": [head.text]})
        for line in lines:
            texts = line["texts"]
            line["text"] = texts[0] if len(texts) == 1 else f"{texts[0]} to {texts[-1]}, {len(texts)} columns"
            if len(texts) > 1:
                line["told"] = {"quadrat_here": "quadrats", "plant": "plants"}[line["role"]]
        return lines

    @property
    def left(self) -> list[str]:
        """What a return has no room for, and what was not read at all."""
        return [*(text for part in self.parts for text in part.part.left), *self.reading.notes]

    def lines(self, *, only: str = "") -> list[RowLine]:
        """Rows for a table, those of one state or all."""
        return [RowLine(row, part, self) for row, part in self.reading.rows if not only or row.state == only]


def years_to_send(today: date) -> range:
    """Years that a sheet may be of, this one first."""
    return range(today.year, today.year - 30, -1)
