"""What the county's pages say: the sentence first, then the figures behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from projects import geography
from projects.choices import Publicity, Stage
from projects.dashboard import words
from projects.dashboard.forms.sites import label_of
from projects.models import District, Network, Site, Village
from projects.selectors.county import DistrictLine, Meadows, Year, shape_of
from projects.selectors.places import Place

#: what each shape of the map means, in the map's order
LEGEND: Final = (
    ("none", "no meadow yet"),
    ("planned", "an idea, planned or ready"),
    ("prepared", "ground prepared"),
    ("sown", "sown"),
    ("aftercare", "in aftercare"),
    ("ended", "did not take, lapsed or handed over"),
)
SQUARES: Final = {1: "the place itself", 10: "a square of 10 m", 100: "a square of 100 m", 1_000: "a square of 1 km",
                  2_000: "a square of 2 km", 10_000: "a square of 10 km", 100_000: "a square of 100 km"}  # fmt: skip


KILOMETRE_M: Final = 1_000


def square_words(side_m: int) -> str:
    """Return how precisely a place is shown."""
    return SQUARES.get(side_m, f"a square of {side_m:,} m")


class CountyPage:
    """The county this year."""

    def __init__(
        self,
        network: Network,
        meadows: Meadows,
        exactly: Meadows | None,
        year: Year,
        districts: Sequence[DistrictLine],
        hours_exactly: float | None = None,
    ) -> None:
        self.network, self.meadows, self.exactly, self.year = network, meadows, exactly, year
        self.districts, self.hours_exactly = districts, hours_exactly

    @property
    def sentence(self) -> str:
        """The answer, from open sites only."""
        if not self.meadows.meadows:
            return f"No meadow is under way in {self.network.name} yet that everybody may see."
        return f"{making(self.meadows, f'in {self.network.name} ')}; {stages(self.meadows)}."

    @property
    def exact_sentence(self) -> str:
        """The same with private sites, for coordinators only."""
        if self.exactly is None:
            return ""
        if not self.exactly.meadows:
            return "Private sites counted in, there is none either."
        return f"Private sites counted in: {words.lowered(making(self.exactly))}; {stages(self.exactly)}."

    @property
    def year_finding(self) -> str:
        sown, prepared = len(self.year.sown), len(self.year.prepared)
        if not sown and not prepared:
            text = f"Nothing has been sown in {self.year.year} so far."
        else:
            done = [f"{words.counted(sown)} {words.plural(sown, 'meadow')} sown"] if sown else []
            if prepared:
                done.append(f"the ground made ready for {words.counted(prepared)}")
            text = f"In {self.year.year}: {words.listed(done)}."
        if self.year.person_hours:
            text += f" Neighbours gave {words.whole(self.year.person_hours)} hours of work to it."
        return text

    @property
    def year_lines(self) -> list[tuple[str, Any]]:
        """What was sown and prepared, the latest first."""
        found = [(project.sown_on, "sown", project) for project in self.year.sown]
        found += [(project.prepared_on, "ground prepared", project) for project in self.year.prepared]
        found.sort(key=lambda line: (line[0], line[2].pk), reverse=True)
        return [(f"{words.day(on)}: {what}", project) for on, what, project in found if on is not None]


def making(found: Meadows, where: str = "") -> str:
    """Return "Two groups are making three meadows on 1.2 ha"."""
    groups = words.opened(words.counted(found.groups))
    meadows = f"{words.counted(found.meadows)} {words.plural(found.meadows, 'meadow')}"
    if found.meadows == 1:
        meadows = "one meadow" if found.groups == 1 else "a meadow"
    verb = words.plural(found.groups, "is", "are")
    return (
        f"{groups} {words.plural(found.groups, 'group')} {where}{verb} making {meadows} on {words.area(found.area_m2)}"
    )


def stages(found: Meadows) -> str:
    """Return how many stand where: "one is sown, two are in aftercare, three are still to be sown"."""
    told = (
        (found.count(Stage.SOWN, Stage.RESOWN), "sown"),
        (found.count(Stage.AFTERCARE), "in aftercare"),
        (found.count(Stage.IDEA, Stage.PLANNED, Stage.READY, Stage.PREPARED), "still to be sown"),
    )
    parts = [f"{words.counted(n)} {words.plural(n, 'is', 'are')} {what}" for n, what in told if n]
    return words.listed(parts)


# ------------------------------------------------------------------ sites in a list and on the map


@dataclass(frozen=True)
class SiteLine:
    """A site in a list: what everybody may read of it, and where it lies as far as the reader may know."""

    site: Site
    place: Place
    stage: str | None

    @property
    def kind(self) -> str:
        return label_of("kind", self.site.kind)

    @property
    def area(self) -> str:
        return words.area((self.site.net_area_dm2 or self.site.area_dm2) / 100)

    @property
    def stage_words(self) -> str:
        return str(Stage(self.stage).label) if self.stage else "No meadow yet"

    @property
    def is_private(self) -> bool:
        return self.site.publicity == Publicity.PRIVATE

    @property
    def where(self) -> str:
        """The reference and how precise it is."""
        if not self.place.reference:
            return "not shown"
        precise = "" if self.place.side_m == 1 else f" ({square_words(self.place.side_m).removeprefix('a ')})"
        return f"{self.place.reference}{precise}"


def map_data(
    network: Network, districts: Sequence[District], villages: Sequence[Village], lines: Sequence[SiteLine]
) -> dict[str, Any]:
    """What the map draws; of each site as much as the lines hold, which is what the reader may see."""
    return {
        "name": network.name,
        "outline": rings(network.outline),
        "districts": [{"name": d.name, "outline": rings(d.outline)} for d in districts if d.outline],
        "villages": [village_point(village) for village in villages],
        "sites": [site_point(line) for line in lines if line.place.geometry is not None],
    }


def site_point(line: SiteLine) -> dict[str, Any]:
    """A site as the map draws it."""
    return {
        "name": line.site.name,
        "url": f"/sites/{line.site.public_id}/",
        "group": line.site.group.name,
        "area": line.area,
        "area_m2": (line.site.net_area_dm2 or line.site.area_dm2) / 100,
        "stage": line.stage_words,
        "shape": shape_of(line.stage),
        "where": line.where,
        "square": not line.place.exact or line.place.side_m >= KILOMETRE_M,
        "at": [line.place.latitude, line.place.longitude],
        "geometry": line.place.geometry if line.place.geometry and line.place.geometry["type"] != "Point" else None,
    }


def village_point(village: Village) -> dict[str, Any]:
    """A village, by the middle of its square."""
    latitude, longitude = geography.latitude_longitude(
        geography.Square(village.easting_m, village.northing_m, 1_000).centre
    )
    return {"name": village.name, "at": [latitude, longitude]}


def rings(outline: Any) -> list[list[list[float]]]:
    """Return stored rings as the map wants them: latitude before longitude."""
    found = []
    for ring in outline or []:
        points = [geography.latitude_longitude(geography.Point(float(east), float(north))) for east, north in ring]
        found.append([[round(latitude, 6), round(longitude, 6)] for latitude, longitude in points])
    return found
