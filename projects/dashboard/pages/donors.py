"""A donor meadow in words: what grows there, what was agreed, and what was taken."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Final

from modelling.selectors import taxon_row
from projects.choices import HarvestMethod
from projects.dashboard import words
from projects.models import DonorAgreement, DonorMeadow, Harvest
from projects.rules.lots import weight

_DM2_PER_M2: Final = 100
#: told before anybody goes out; the law, the owner's word and the maker's instructions come first
CAUTIONS: Final = (
    "Ask before each visit, and leave stock, gates and hay as the owner wants them.",
    "Look for ragwort, thistle and dock first: what is in the sward will be in the sack.",
    "Look for ground-nesting birds and leverets; stop where there are any.",
    "On a slope, near water or with loose clothing a brush harvester hurts people: one trained person drives it, "
    "nobody reaches in while it turns.",
)


class AgreementLine:
    """What was agreed, for those who may know the owner."""

    def __init__(self, row: DonorAgreement, today: date) -> None:
        self.row, self.today = row, today

    @property
    def runs(self) -> bool:
        last = min(self.row.ends_on, self.row.ended_on or self.row.ends_on)
        return self.row.starts_on <= self.today <= last

    @property
    def sentence(self) -> str:
        """How much may be taken how, when and until when."""
        row = self.row
        how = words.listed((words.lowered(str(HarvestMethod(one).label)) for one in row.methods), "or")
        when = f"{words.day_of_year(row.window_opens)} to {words.day_of_year(row.window_closes)}"
        last = min(row.ends_on, row.ended_on or row.ends_on)
        until = f"{'until' if self.runs else 'held until' if last < self.today else 'later, until'} {words.day(last)}"
        return f"{words.area(row.area_dm2 / _DM2_PER_M2)} a year, {how}, {when}; {until}."

    @property
    def facts(self) -> list[str]:
        row = self.row
        cut = f"The hay is cut by {words.day_of_year(row.cut_by)}." if row.cut_by else ""
        found = (row.part, row.wants_back and f"The owner wants back: {row.wants_back}", cut, *row.consents)
        return [words.sentence(text) for text in found if text]


class DonorPage:
    """A donor meadow."""

    def __init__(self, row: DonorMeadow, harvests: Sequence[Harvest], today: date) -> None:
        self.row, self.harvests, self.today = row, harvests, today

    @property
    def sentence(self) -> str:
        """How large it is, and what was taken of it this year and last."""
        row = self.row
        told = f"{row}: {words.area(row.area_dm2 / _DM2_PER_M2)}, {words.lowered(row.get_habitat_display())}"
        now = sum(one.area_dm2 for one in self.harvests if one.on.year == self.today.year)
        if now:
            return f"{told}; {words.area(now / _DM2_PER_M2)} harvested this year."
        last = max((one.on for one in self.harvests), default=None)
        return f"{told}; {'last harvested ' + words.day(last) if last else 'no harvest is noted'}."

    @property
    def plants(self) -> list[tuple[str, str, str]]:
        """Kinds, by name, with their share of the ground."""
        found = []
        for plant in self.row.plants.all():
            row = taxon_row(plant.taxon) or {}
            names = str(row.get("english_name", "")), str(row.get("scientific_name", plant.taxon))
            found.append((*names, f"{plant.cover_percent:g} %"))
        return found

    @property
    def weeds(self) -> str:
        return words.listed(self.row.weeds)

    @property
    def taken(self) -> list[tuple[Harvest, str]]:
        """Harvests, the latest first."""
        return [
            (one, f"{words.day(one.on)}: {words.lowered(one.get_method_display())}, "
             f"{words.area(one.area_dm2 / _DM2_PER_M2)}, {weight(one.fresh_mg)} fresh")
            for one in self.harvests
        ]  # fmt: skip
