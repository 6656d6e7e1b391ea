"""What a site's page says: the ground in words, and how precisely it is shown to whom."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, Final
from urllib.parse import urlencode

from modelling.selectors import permission_words
from projects.choices import Need, PermissionState, PlaceGiven, Publicity
from projects.dashboard import words
from projects.dashboard.forms.sites import label_of
from projects.dashboard.pages.county import square_words
from projects.models import Permission, Site
from projects.selectors.places import Outside, Place, shown_square
from projects.selectors.sites import label_of as permission_label

_LABELS: Final = (
    ("sward", "What grows there now"),
    ("last_use", "Used until now"),
    ("wetness", "Wetness"),
    ("shade", "Shade"),
)

M_PER_KM: Final = 1000


class SitePage:
    """A site, said as fully as its reader may know it."""

    def __init__(self, site: Site, place: Place, inside: bool) -> None:
        self.site, self.place, self.inside = site, place, inside

    @property
    def lead(self) -> str:
        """What it is and whose, in one sentence."""
        kind = label_of("kind", self.site.kind)
        return f"{kind} of {words.area(self.site.area_dm2 / 100)}, looked after by {self.site.group.name}."

    @property
    def where(self) -> str:
        """Where it lies, for this reader."""
        place = self.place
        if not place.reference:
            return "Where it lies is not shown."
        if not place.exact:
            return f"It lies somewhere in {square_words(place.side_m)}, {place.reference}."
        match place.given:
            case PlaceGiven.VILLAGE:
                return f"Only its village is on record, {place.said}: {square_words(place.side_m)}, {place.reference}."
            case PlaceGiven.OUTLINE:
                return f"Its outline is on record; a point inside it is {place.reference}."
            case PlaceGiven.GRID_REFERENCE if place.side_m > 1:
                return f"{place.reference}, {square_words(place.side_m)}."
        return f"{place.reference}."

    @property
    def shown_to_others(self) -> str:
        """What everybody sees, for its own people."""
        if self.site.publicity == Publicity.PRIVATE:
            return (
                "Others see nothing: only your group and the network’s coordinators know that this site exists. "
                "It is left out of every public figure."
            )
        square = shown_square(self.site)
        if square is None:
            return "Others see its name, and not where it lies."
        if square.side_m == 1:
            return "Everybody sees the place itself and the name."
        finer = {Publicity.EXACT: 1, Publicity.SQUARE_100_M: 100}.get(Publicity(self.site.publicity), square.side_m)
        unknown = " No more is on record." if finer < square.side_m else ""
        return f"Others see: {square_words(square.side_m)}, {square.reference}, and the name.{unknown}"

    @property
    def facts(self) -> list[tuple[str, str]]:
        """What is known of the ground, for its own people."""
        site = self.site
        found = []
        if site.district:
            found.append(("District", site.district.name))
        if site.net_area_dm2:
            found.append(("To become meadow", words.area(site.net_area_dm2 / 100)))
        for name, label in _LABELS:
            value = getattr(site, name)
            if value:
                found.append((label, label_of(name, value)))
        if site.slope_degrees is not None:
            found.append(("Slope", f"{words.figure(site.slope_degrees)}°"))
        if site.gate_width_cm is not None:
            found.append(("Gate", f"{words.figure(site.gate_width_cm / 100, 3)}\u00a0m wide"))
        if site.access_note:
            found.append(("How to get in", site.access_note))
        if site.resident_species_per_m2 is not None:
            found.append(("Kinds of plant in a square metre", words.figure(site.resident_species_per_m2, 3)))
        if site.standing_crop_g_per_m2 is not None:
            found.append(("Standing crop in June", f"{words.figure(site.standing_crop_g_per_m2, 3)}\u00a0g/m²"))
        if site.distance_to_flower_rich_m is not None:
            found.append(("Nearest flower-rich land", f"{words.figure(site.distance_to_flower_rich_m, 3)}\u00a0m away"))
        if site.existing_interest:
            told = words.listed(label_of("existing_interest", word) for word in site.existing_interest)
            found.append(("Good there already", told))
        return found

    @property
    def residents(self) -> list[str]:
        return list(self.site.resident_species)


class PermissionLine:
    """One permission in words."""

    def __init__(self, row: Permission, today: date, form: Any = None) -> None:
        self.row, self.today, self.form = row, today, form
        self.told = permission_words(row.key) or {}

    @property
    def label(self) -> str:
        return permission_label(self.row)

    @property
    def state(self) -> str:
        """How far it has come, in words."""
        row = self.row
        if row.need == Need.NOT_NEEDED:
            return "Not needed."
        if row.state == PermissionState.GIVEN:
            by = f" by {row.signed_by}" if row.signed_by else ""
            text = f"Given{by} on {words.day(row.answered_on)}" if row.answered_on else f"Given{by}"
            if row.expires_on is None:
                return f"{text}."
            ended = "it ran out on" if row.expires_on < self.today else "until"
            return (
                f"{text}; {ended} {words.day(row.expires_on)}."
                if ended != "until"
                else f"{text}, until {words.day(row.expires_on)}."
            )
        if row.state == PermissionState.REFUSED:
            return f"Refused on {words.day(row.answered_on)}." if row.answered_on else "Refused."
        if row.state == PermissionState.ASKED:
            return f"Asked on {words.day(row.asked_on)}, no answer yet." if row.asked_on else "Asked, no answer yet."
        return "Find out whether it is needed." if row.need == Need.UNKNOWN else "Needed, not asked yet."

    @property
    def missing(self) -> bool:
        """Whether it stands in the way of starting."""
        row = self.row
        if row.need == Need.NOT_NEEDED:
            return False
        return row.state != PermissionState.GIVEN or (row.expires_on is not None and row.expires_on < self.today)


def permissions_finding(lines: list[PermissionLine]) -> str:
    """Return how many permissions are still missing."""
    missing = sum(line.missing for line in lines)
    if not lines:
        return "None is on the list; ask the owner all the same."
    if not missing:
        return "All are there: work may start."
    of = f"{words.opened(words.counted(missing))} of {words.counted(len(lines))}"
    return f"{of} {words.plural(missing, 'is', 'are')} still missing; nothing is dug or sown before."


def estimate_address(facts: Mapping[str, Any]) -> str:
    """Return the address of the plan form, filled in with what is known of a site."""
    query = urlencode({name: _said(value) for name, value in facts.items()}, doseq=True)
    return f"/plan/?{query}"


def _said(value: Any) -> Any:
    if isinstance(value, float):
        return words.figure(value, 12).replace(",", "")
    return list(value) if isinstance(value, list | tuple) else value


def outside_words(found: Outside | None) -> str:
    """Ask about a place that lies where its county or district is not."""
    if found is None:
        return ""
    far = found.distance_m
    how_far = f"{words.figure(far / M_PER_KM)} km" if far >= M_PER_KM else f"{words.figure(far)} m"
    return f"This place lies {how_far} outside {found.of}. Is the reference right, and the district?"
