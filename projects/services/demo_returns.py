"""The yearly returns of the invented county: what its people might have seen, drawn from the courses in its fixtures.

A course says, for a plant and an age of the meadow, how often it stands in a square metre; a return says how its
meadow did beside that. Each return draws from a stream of its own, so that a new row leaves the others as they were.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, Final
from uuid import UUID, uuid5

from modelling.selectors import parameters, scale_codes, taxon_row
from projects.rules.returns import GROWS_FROM, RATTLE

Row = dict[str, Any]

_SENT: Final = UUID("5a17e3e1-0000-4000-8000-000000000000")
#: a line of the diary -> work of a return; the others are none
WORK: Final = {
    "cut": "cut", "rake": "collected", "graze": "grazed", "weed": "weeded", "sow": "sown", "plant": "planted",
    "prepare": "prepared", "seed": "seed_gathered",
}  # fmt: skip
#: one name in so many is written wrongly, or in English, by those who do
_ONE_IN: Final = {"mixed": 2, "misspelt": 4}
#: a kind of a mix that comes up in a meadow at all, of those that could
_TAKES: Final = 0.85
#: kinds on a whole site that stand in none of its squares, beside those in a square metre
_FARTHER: Final = 0.4
_OLDEST: Final = 4
ORCHID: Final = "dactylorhiza_fuchsii"


def age(sown_on: date | None, year: int) -> int:
    """Summers a meadow has had by the end of a year; none before it is sown."""
    if sown_on is None:
        return 0
    first = sown_on.year if sown_on < date(sown_on.year, *GROWS_FROM) else sown_on.year + 1
    return min(_OLDEST, max(0, year - first + 1))


def content(
    row: Row, *, courses: Sequence[Row], facts: Sequence[Row], diary: Iterable[Row], sown: Sequence[str], summers: int
) -> Row:
    """A return as it might have been sent.

    Parameters
    ----------
    row
        Of returns.csv.
    courses, facts
        Rows of courses.csv and course_facts.csv.
    diary
        Lines of the project's diary in that year; its work, heads and hours.
    sown
        Keys of the plants sown.
    summers
        As `age` says.
    """
    lines = [line for line in diary if line["what"] in WORK]
    asked: Row = {
        "year": int(row["year"]),
        "answered": row["answered"],
        "submission_id": str(uuid5(_SENT, f"{row['project']} {row['year']} 1")),
        "grade": row["grade"],
        "work": [{"what": what, "on": on} for what, on in sorted({(WORK[line["what"]], line["on"]) for line in lines})],
    }
    asked |= {key: row[key] for key in ("missed", "narrative") if key in row}
    people = [(int(line["heads"]), float(line["hours_each"])) for line in lines if "heads" in line]
    if people:
        asked["heads"] = max(heads for heads, _ in people)
        asked["person_hours"] = sum(heads * hours for heads, hours in people)
    if row["way"] == "work":
        return asked
    meadow = _Meadow(row, courses, facts, sown, summers)
    visit: Row = {"on": row["walked_on"]}
    if row["way"] == "list":
        visit["whole_site"] = meadow.whole()
    else:
        visit["quadrats"] = meadow.quadrats()
        visit["whole_site"] = meadow.beside(visit["quadrats"])
        asked["layout"] = row["layout"]
    return asked | {"visits": [visit]}


def half_of(asked: Row) -> Row:
    """The return as it was before the back of the sheet was found."""
    (visit,) = asked["visits"]
    squares = visit["quadrats"]
    return asked | {"visits": [visit | {"quadrats": squares[: len(squares) // 2]}]}


def sent_again(asked: Row, row: Row) -> Row:
    """The return sent once more, by an id of its own."""
    return asked | {"submission_id": str(uuid5(_SENT, f"{row['project']} {row['year']} 2"))}


class _Meadow:
    """A meadow on the day of its walk."""

    def __init__(
        self, row: Row, courses: Sequence[Row], facts: Sequence[Row], sown: Sequence[str], summers: int
    ) -> None:
        self.row = row
        #: what is alike in all years of a meadow, and what is drawn anew
        lasting, self.dice = _Dice(row["project"]), _Dice(f"{row['project']} {row['year']}")
        self.luck, self.column = float(row["luck"]), f"year_{summers}"
        self.facts = {fact["fact"]: fact for fact in facts}
        takes = {course["taxon"]: lasting.throw() < _TAKES for course in courses}
        self.kinds = [course for course in courses if _grows(course, sown, takes[course["taxon"]])]
        if row.get("upset") == "no_rattle":
            self.kinds = [course for course in self.kinds if course["taxon"] != RATTLE]
        self.rattle = float(row.get("rattle", 0)) if RATTLE in {course["taxon"] for course in self.kinds} else None
        self.written = {course["taxon"]: self._written(course) for course in courses}

    def quadrats(self) -> list[Row]:
        squares = [self._quadrat(number) for number in range(int(self.row["quadrats"]))]
        if self.row.get("upset") == "copied":
            squares = [square | {"records": squares[0]["records"]} for square in squares]
        return squares

    def beside(self, squares: Sequence[Row]) -> list[Row]:
        """What was seen outside the squares."""
        inside = {record["name"] for square in squares for record in square["records"]}
        seen = [course for course in self.kinds if self.written[course["taxon"]] not in inside]
        found = [course for course in seen if self.dice.throw() < self._chance(course) ** _FARTHER * _FARTHER]
        names = [self.written[course["taxon"]] for course in found]
        orchid = self.written[ORCHID]
        if self.row.get("upset") == "orchid" and orchid not in {*inside, *names}:
            names.append(orchid)
        return [{"name": name} for name in names]

    def whole(self) -> list[Row]:
        """A list of the whole site: most of what stands in one square metre in ten."""
        records = []
        for course in self.kinds:
            share = self._chance(course)
            if self.dice.throw() < share**_FARTHER:
                records.append({"name": self.written[course["taxon"]]} | self._amount(share))
        return records

    def _chance(self, course: Row) -> float:
        share = float(course[self.column])
        if course["from"] == "sown":
            share *= self.luck * (self.rattle if self.rattle is not None and course["taxon"] == RATTLE else 1)
        elif course["from"] == "weed":
            share *= 2 - self.luck
        return min(1.0, share)

    def _quadrat(self, number: int) -> Row:
        area = float(self.row["area_m2"])
        records = []
        for course in self.kinds:
            share = 1 - (1 - self._chance(course)) ** area
            if self.dice.throw() < share:
                cover = float(course["cover"]) * (0.3 + 1.4 * self.dice.throw())
                records.append({"name": self.written[course["taxon"]]} | self._amount(cover))
        square: Row = {"label": f"Q{number + 1}", "area_m2": area, "records": records}
        if self.row["scale"] != "presence":
            square |= {
                name: self._fact(name, 1.0) for name in ("bare_ground_percent", "litter_percent", "sward_height_cm")
            }
        if self.rattle is not None and self.column != "year_0":
            stands = any(record["name"] == self.written[RATTLE] for record in records)
            square["rattle_plants"] = max(1, self._fact("rattle_plants", self.rattle * area)) if stands else 0
        return square

    def _fact(self, name: str, factor: float) -> int:
        fact = self.facts[name]
        drawn = float(fact[self.column]) * factor * (0.4 + 1.2 * self.dice.throw())
        return min(int(fact["most"]), round(drawn))

    def _amount(self, share: float) -> Row:
        """A share of the ground, or of the squares, as the return's scale writes it."""
        scale = self.row["scale"]
        if scale == "presence":
            return {}
        if scale == "percent":
            return {"scale": scale, "value": str(max(1, round(100 * share)))}
        tops = {code: float(parameters().numbers["cover_scales", scale, code].high or 1) for code in scale_codes(scale)}
        return {"scale": scale, "value": next(code for code, top in tops.items() if share <= top)}

    def _written(self, course: Row) -> str:
        latin, names = str((taxon_row(course["taxon"]) or course)["scientific_name"]), self.row["names"]
        if names == "english":
            return str(course["english"])
        if names == "mixed" and self.dice.throw() * _ONE_IN["mixed"] < 1:
            return str(course["english"])
        if names == "misspelt":
            return str(course["misspelt"] if self.dice.throw() * _ONE_IN["misspelt"] < 1 else course["english"])
        return latin


def _grows(course: Row, sown: Sequence[str], takes: bool) -> bool:
    """Whether a plant of the courses is in a meadow at all. Rattle that is sown always is."""
    taxon, comes_from = course["taxon"], course["from"]
    if comes_from == "sown":
        return taxon in sown and (takes or taxon == RATTLE)
    return comes_from != "came" or takes


class _Dice:
    """Numbers from 0 to below 1 that follow from a text, on every machine alike."""

    def __init__(self, text: str) -> None:
        self.text, self.thrown = text, 0

    def throw(self) -> float:
        self.thrown += 1
        digest = hashlib.sha256(f"{self.text} {self.thrown}".encode()).digest()
        return int.from_bytes(digest[:6]) / 256**6
