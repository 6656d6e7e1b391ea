"""The summer walk's form: a list of plants and the day of the cut are enough; quadrats for those who laid them."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from django import forms
from django.forms.boundfield import BoundField

from modelling import names
from modelling.errors import FieldError
from projects.contracts.returns import ReturnNew
from projects.dashboard.forms.base import ServiceForm, sent, typed
from projects.dashboard.forms.fields import POUNDS, Amount, Day, Pick, Radios, Several
from projects.dashboard.forms.groups import Paragraphs
from projects.sheets.headings import GRADES, LAYOUTS

QUADRATS: Final = 10
MORE: Final = 10
MOST_SHOWN: Final = 60
WORKS: Final = 3
GATHERINGS: Final = 2
ANSWERS: Final = (
    ("surveyed", "We walked it, or looked after it"),
    ("nothing_done", "Nothing was done this year"),
    ("failed", "It has failed"),
)
SCALES: Final = (
    ("presence", "There or not"),
    ("percent", "Cover in per cent"),
    ("domin", "Domin"),
    ("braun_blanquet", "Braun-Blanquet"),
    ("dafor_cover", "DAFOR, as cover"),
    ("dafor_frequency", "DAFOR, as how often"),
    ("abundance", "A number or a word of our own"),
)
DONE: Final = (
    ("cut", "Cut"),
    ("collected", "Cuttings taken off"),
    ("grazed", "Grazed"),
    ("weeded", "Weeds pulled"),
    ("sown", "Sown"),
    ("planted", "Planted"),
    ("watered", "Watered"),
    ("fenced", "Fenced"),
    ("prepared", "Ground prepared"),
    ("seed_gathered", "Seed gathered"),
    ("other", "Something else"),
)
#: figures of a quadrat: name in the form -> name in the request
_FIGURES: Final = {
    "bare": "bare_ground_percent", "litter": "litter_percent", "forbs": "forb_cover_percent",
    "height": "sward_height_cm", "rattle": "rattle_plants",
}  # fmt: skip
_PLAIN: Final = (
    "missed",
    "heads",
    "person_hours",
    "machine_hours",
    "cash_gbp",
    "flowering",
    "narrative",
    "grade",
    "layout",
)
#: scales on which a plant without an amount is a mistake to be told
_CODED: Final = frozenset({"percent", "domin", "braun_blanquet", "dafor_cover", "dafor_frequency"})
#: what parts a plant from its amount in a line
_AMOUNT: Final = re.compile(r"\s*[,;\t]\s*")
_COUNT: Final = re.compile(r"\d{1,7}")


def plants(text: str, scale: str, *, needed: bool) -> list[dict[str, Any]]:
    """Lines of plants as records: "lady's bedstraw", or "dock, 5".

    Parameters
    ----------
    needed
        Whether a plant needs an amount if the scale has them, as in a quadrat; else one without was just seen.
    """
    found = []
    for line in text.splitlines():
        name, _, amount = (part.strip() for part in _AMOUNT.sub("\t", line.strip()).partition("\t"))
        if amount:
            kind = "abundance" if scale == "presence" else scale
        else:
            kind = scale if needed and scale in _CODED else "presence"
        if name:
            found.append({"name": name, "scale": kind, "value": amount})
    return found


def lines(records: Iterable[Mapping[str, Any]]) -> str:
    """Records as lines, the way `plants` reads them."""
    return "\n".join(f"{item['name']}, {item['value']}" if item.get("value") else item["name"] for item in records)


def _shown(value: Any) -> Any:
    """A number as people write it: 5, not 5.0."""
    return typed(value) if isinstance(value, int | float) else value


class WalkForm(ServiceForm):
    """One year of one meadow; of a return sent before, its first walk with everything around it.

    Parameters
    ----------
    year
        Of the return.
    expected
        (key, words) of the plants that the plan sows.
    before
        What was sent last, as plain values; walks beyond the first are kept as they were.
    quadrats
        Quadrats to show.
    """

    contract = ReturnNew
    pointers = {"answered": "/answered", "on": "/visits/0/on"} | {name: f"/{name}" for name in _PLAIN}
    submission_id = forms.CharField(required=False, widget=forms.HiddenInput, max_length=36)
    beside = forms.IntegerField(required=False, widget=forms.HiddenInput, min_value=0)
    shown_quadrats = forms.IntegerField(required=False, widget=forms.HiddenInput)
    answered = forms.ChoiceField(
        choices=ANSWERS, widget=Radios, initial="surveyed", required=False, label="How was the year?",
        help_text="All three are good answers; nobody is blamed, and all of them teach something.",
    )  # fmt: skip
    on = Day(label="Day of the walk")
    grade = Pick(
        list(GRADES.items()), blank="Not said", label="How well does whoever looked know plants?",
        help_text="Ten plants known well are a good walk. No names, please.",
    )  # fmt: skip
    also = Paragraphs(
        label="Other plants seen",
        help_text="One on a line, English or Latin, as you know them. Question marks may stay.",
    )
    scale = Pick(SCALES, blank="There or not", label="How were amounts written down?")
    layout = Pick(list(LAYOUTS.items()), blank="Not said", label="How were the quadrats laid?")
    area_m2 = Amount(label="Size of a quadrat in m²", help_text="1 if nothing is written here.")
    missed = Paragraphs(label="What could not be done?", max_length=4000)
    heads = Amount(whole=True, label="How many people came, counted each time?")
    person_hours = Amount(label="Hours of people, all together")
    machine_hours = Amount(label="Hours of machines")
    cash_gbp = Amount(POUNDS, label="Money spent, in pounds")
    insects = Paragraphs(label="Insects counted", help_text="One kind on a line, its number after a comma.")
    flowering = Paragraphs(label="What was in flower, and when?")
    narrative = Paragraphs(
        label="The year in your own words", help_text="Everybody who may see the return reads it: no names."
    )

    def __init__(
        self,
        data: Any = None,
        *,
        year: int,
        expected: Sequence[tuple[str, str]] = (),
        before: Mapping[str, Any] | None = None,
        beside: int = 0,
        quadrats: int = QUADRATS,
    ) -> None:
        self.year, self.expected, self.before = year, dict(expected), before or {}
        if data is not None and str(data.get("shown_quadrats", "")).isdecimal():
            quadrats = int(data["shown_quadrats"][:3])
        earlier = list((self.before.get("visits") or [{}])[0].get("quadrats") or [])
        self.quadrats = min(max(quadrats, len(earlier), QUADRATS), MOST_SHOWN)
        self.too_long = len(earlier) > MOST_SHOWN
        super().__init__(data, initial=self._said(earlier, beside))
        if self.expected:
            self.fields["seen"] = Several(choices=list(self.expected.items()), label="Seen of what was sown")
        for number in range(self.quadrats):
            self._add_quadrat(number)
        for number in range(max(WORKS, len(self.before.get("work") or ()) + 1)):
            self.fields[f"work{number}-what"] = Pick(DONE, blank="Nothing", label=f"Care {number + 1}")
            self.fields[f"work{number}-on"] = Day(label="On")
            self.fields[f"work{number}-note"] = forms.CharField(
                required=False, max_length=300, label="Where to, or a note"
            )
        for number in range(max(GATHERINGS, len(self.before.get("gatherings") or ()) + 1)):
            self.fields[f"event{number}-kind"] = forms.CharField(
                required=False, max_length=80, label=f"Event {number + 1}, its kind"
            )
            self.fields[f"event{number}-heads"] = Amount(whole=True, label="How many came")
            self.fields[f"event{number}-on"] = Day(label="On")
        for field in self.fields.values():
            if isinstance(field.widget, forms.Textarea):
                field.widget.attrs["rows"] = 4

    def _add_quadrat(self, number: int) -> None:
        self.fields[f"q{number}-label"] = forms.CharField(required=False, max_length=40, label="Its number or name")
        self.fields[f"q{number}-plants"] = Paragraphs(
            label="Plants in it", help_text="One on a line; an amount after a comma, such as knapweed, 5."
        )
        self.fields[f"q{number}-bare"] = Amount(label="Bare ground, per cent")
        self.fields[f"q{number}-litter"] = Amount(label="Dead stuff, per cent")
        self.fields[f"q{number}-forbs"] = Amount(label="Wildflowers together, per cent")
        self.fields[f"q{number}-height"] = Amount(label="Height of the sward, cm")
        self.fields[f"q{number}-rattle"] = Amount(whole=True, label="Plants of yellow rattle")
        self.fields[f"q{number}-control"] = forms.BooleanField(required=False, label="It lies where nothing was sown")
        self.fields[f"q{number}-empty"] = forms.BooleanField(required=False, label="Laid, and nothing grew in it")

    # ------------------------------------------------------------ what was sent before

    def _said(self, earlier: list[Mapping[str, Any]], beside: int) -> dict[str, Any]:
        """What was sent before, as the form shows it."""
        visit = (self.before.get("visits") or [{}])[0]
        said: dict[str, Any] = {name: _shown(self.before.get(name)) for name in _PLAIN}
        seen = [
            item for item in visit.get("whole_site") or [] if self._key(item) in self.expected and not item.get("value")
        ]
        rest = [item for item in visit.get("whole_site") or [] if item not in seen]
        records = [*rest, *(item for quadrat in earlier for item in quadrat.get("records") or [])]
        scales = [item["scale"] for item in records if item.get("scale", "presence") != "presence"]
        areas = {quadrat.get("area_m2", 1.0) for quadrat in earlier}
        said |= {
            "answered": self.before.get("answered", "surveyed"),
            "submission_id": str(uuid.uuid4()),
            "beside": beside,
            "shown_quadrats": self.quadrats,
            "on": visit.get("on"),
            "seen": [self._key(item) for item in seen],
            "also": lines(rest),
            "scale": scales[0] if scales else "",
            "area_m2": _shown(next(iter(areas))) if len(areas) == 1 else None,
            "insects": "\n".join(
                f"{item['name']}, {item.get('count', 1)}" for item in self.before.get("insects") or []
            ),
        }
        for number, quadrat in enumerate(earlier[:MOST_SHOWN]):
            said |= {f"q{number}-{name}": _shown(quadrat.get(key)) for name, key in _FIGURES.items()}
            said |= {
                f"q{number}-label": quadrat["label"],
                f"q{number}-plants": lines(quadrat.get("records") or []),
                f"q{number}-control": quadrat.get("part") == "control",
                f"q{number}-empty": not quadrat.get("records"),
            }
        for number, work in enumerate(self.before.get("work") or []):
            said |= {
                f"work{number}-what": work["what"],
                f"work{number}-on": work.get("on"),
                f"work{number}-note": work.get("where_to") or work.get("note"),
            }
        for number, event in enumerate(self.before.get("gatherings") or []):
            said |= {f"event{number}-{name}": event.get(name) for name in ("kind", "heads", "on")}
        return said

    def _key(self, item: Mapping[str, Any]) -> str:
        return item.get("taxon") or names.match(item["name"]).taxon or ""

    # ------------------------------------------------------------ what is sent

    def asked(self) -> dict[str, Any]:
        said = self.cleaned_data
        data: dict[str, Any] = {"year": self.year, "answered": said.get("answered") or "surveyed"}
        data |= {name: sent(said.get(name)) for name in _PLAIN if sent(said.get(name)) is not None}
        if self.submission is not None:
            data["submission_id"] = self.submission
        visits = [*self._visit(), *(self.before.get("visits") or [])[1:]]
        work, gatherings, insects = list(self._work()), list(self._gatherings()), list(self._insects())
        named = {"visits": visits, "work": work, "gatherings": gatherings, "insects": insects}
        return data | {name: value for name, value in named.items() if value}

    @property
    def submission(self) -> str | None:
        """The id that the sender made; None where it is no id."""
        try:
            return str(uuid.UUID(self.cleaned_data.get("submission_id") or ""))
        except ValueError:
            return None

    def _visit(self) -> list[dict[str, Any]]:
        said, scale = self.cleaned_data, self.cleaned_data.get("scale") or "presence"
        whole = [
            {"name": self.expected[key], "taxon": key} for key in said.get("seen") or [] if key in self.expected
        ]  # fmt: skip
        ticked = {item["taxon"] for item in whole}
        for item in plants(said.get("also") or "", scale, needed=False):
            match = names.match(item["name"])
            if not (match.settled and match.taxon in ticked):
                self.extra_pointers[f"/visits/0/whole_site/{len(whole)}"] = "also"
                whole.append(item)
        quadrats: list[dict[str, Any]] = []
        for number in range(self.quadrats):
            part = {name: said.get(f"q{number}-{name}") for name in ("label", "plants", "control", "empty", *_FIGURES)}
            figures = {key: sent(part[name]) for name, key in _FIGURES.items() if sent(part[name]) is not None}
            if not (part["plants"] or part["empty"] or figures):
                continue
            at = f"/visits/0/quadrats/{len(quadrats)}"
            self.extra_pointers |= {
                at: f"q{number}-plants",
                f"{at}/label": f"q{number}-label",
                f"{at}/area_m2": "area_m2",
            }
            self.extra_pointers |= {f"{at}/{key}": f"q{number}-{name}" for name, key in _FIGURES.items()}
            quadrats.append(
                {
                    "label": part["label"] or str(number + 1),
                    "area_m2": said.get("area_m2") or 1.0,
                    "part": "control" if part["control"] else "sown",
                    "records": plants(part["plants"] or "", scale, needed=True),
                }
                | figures
            )
        visit = {"on": sent(said.get("on")), "whole_site": whole, "quadrats": quadrats}
        kept = {name: value for name, value in visit.items() if value}
        return [kept] if whole or quadrats else []

    def _work(self) -> Iterator[dict[str, Any]]:
        count = 0
        for number in self._rows("work"):
            what, on, note = (self.cleaned_data.get(f"work{number}-{name}") for name in ("what", "on", "note"))
            if not (what or on or note):
                continue
            self.extra_pointers |= {f"/work/{count}": f"work{number}-what", f"/work/{count}/on": f"work{number}-on"}
            entry = {"what": what or None, "on": sent(on), "where_to" if what == "collected" else "note": note}
            yield {name: value for name, value in entry.items() if value or name == "what"}
            count += 1

    def _gatherings(self) -> Iterator[dict[str, Any]]:
        count = 0
        for number in self._rows("event"):
            kind, heads, on = (self.cleaned_data.get(f"event{number}-{name}") for name in ("kind", "heads", "on"))
            if not (kind or heads or on):
                continue
            at = f"/gatherings/{count}"
            self.extra_pointers |= {f"{at}/{name}": f"event{number}-{name}" for name in ("kind", "heads", "on")}
            yield {"kind": kind, "heads": heads or 0} | ({"on": sent(on)} if on else {})
            count += 1

    def _insects(self) -> Iterator[dict[str, Any]]:
        for number, line in enumerate((self.cleaned_data.get("insects") or "").splitlines()):
            name, _, amount = (part.strip() for part in _AMOUNT.sub("\t", line.strip()).partition("\t"))
            if name:
                self.extra_pointers[f"/insects/{number}"] = "insects"
                yield {"name": name, "count": int(amount) if _COUNT.fullmatch(amount) else 1}

    def _rows(self, kind: str) -> Iterator[int]:
        return (number for number in range(len(self.fields)) if f"{kind}{number}-on" in self.fields)

    def clean_insects(self) -> str:
        """Refuse a number that is none."""
        text: str = self.cleaned_data["insects"] or ""
        for line in text.splitlines():
            _, parted, amount = _AMOUNT.sub("\t", line.strip()).partition("\t")
            if parted and not _COUNT.fullmatch(amount.strip()):
                raise forms.ValidationError(f"“{amount[:40]}” is not a count; write a line such as small copper, 3.")
        return text

    def said(self, refusal: FieldError, name: str | None) -> str:
        """Return a refusal for people."""
        if refusal.pointer == "/visits/0/on" and refusal.code == "missing":
            return "On what day were these plants seen?"
        if refusal.code == "missing" and not refusal.pointer:
            return "Say what was seen or what was done; if there was none, say so at the top."
        return super().said(refusal, name)

    # ------------------------------------------------------------ what is shown

    @property
    def top(self) -> Iterator[BoundField]:
        """Fields that are enough."""
        return self.shown("answered", "on", "grade", "seen", "also")

    @property
    def method(self) -> Iterator[BoundField]:
        """How quadrats were laid."""
        return self.shown("scale", "layout", "area_m2")

    @property
    def walks_kept(self) -> int:
        """Walks sent before that this form does not show; they stay as they are."""
        return max(len(self.before.get("visits") or ()) - 1, 0)

    @property
    def squares(self) -> Iterator[dict[str, Any]]:
        """Each quadrat with its fields."""
        for number in range(self.quadrats):
            parts = ("label", "plants", "empty", "bare", "litter", "forbs", "height", "rattle", "control")
            fields = [self[f"q{number}-{name}"] for name in parts]
            yield {"number": number + 1, "fields": fields, "open": self.filled(*(field.name for field in fields))}

    @property
    def quadrats_open(self) -> bool:
        """Whether something stands in a quadrat."""
        return any(square["open"] for square in self.squares) or self.filled("scale", "layout", "area_m2")

    @property
    def works(self) -> list[list[BoundField]]:
        """Each line of care with its fields."""
        return [[self[f"work{n}-{name}"] for name in ("what", "on", "note")] for n in self._rows("work")]

    @property
    def events(self) -> list[list[BoundField]]:
        """Each event with its fields."""
        return [[self[f"event{n}-{name}"] for name in ("kind", "heads", "on")] for n in self._rows("event")]

    @property
    def rest(self) -> Iterator[BoundField]:
        """Fields of the year as a whole."""
        return self.shown(
            "missed", "heads", "person_hours", "machine_hours", "cash_gbp", "flowering", "insects", "narrative"
        )

    @property
    def rest_open(self) -> bool:
        """Whether something stands in one of them."""
        return self.filled(*(field.name for field in self.rest), *(field.name for row in self.events for field in row))
