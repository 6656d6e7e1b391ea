"""Forms about a grant round: writing it, changing it, and declaring an interest."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar, Final

from django import forms
from django.forms.boundfield import BoundField
from django.utils import timezone

from modelling.errors import FieldError
from projects.choices import LineCategory, Proof, Skill
from projects.contracts.base import Strict
from projects.contracts.rounds import InterestNew, RoundChange, RoundNew
from projects.dashboard.forms.base import ServiceForm, sent, typed
from projects.dashboard.forms.fields import POUNDS, Amount, Day, Pick, Several
from projects.dashboard.forms.groups import Paragraphs
from projects.models import District, GrantRound, Group, Network
from projects.rules.rounds import CHANGEABLE

CRITERIA: Final = 8
RATES: Final = 3
#: lines for criteria that are open at first
SHOWN_CRITERIA: Final = 4
PENCE: Final = 100
_CRITERION: Final = ("name", "about", "weight", "most")
_RATE: Final = ("skill", "gbp_per_hour", "from_day")


class Moment(forms.DateTimeField):
    """A day and a time by the clocks of the country."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        widget = forms.DateTimeInput(format="%Y-%m-%dT%H:%M", attrs={"type": "datetime-local"})
        super().__init__(widget=widget, input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"], **options)
        self.error_messages["invalid"] = "This is not a day with a time; write one such as 2026-10-01T12:00."


class RoundForm(ServiceForm):
    """A pot of money and its rules."""

    contract: ClassVar[type[Strict]] = RoundNew
    NAMES: ClassVar[tuple[str, ...]] = (
        "name", "funder", "pot_gbp", "opens_at", "closes_at", "starts_earliest_on", "longest_months", "about",
        "who_may_bid", "district_id", "must_show", "categories", "group_limit_gbp", "district_limit_gbp",
        "match_percent", "volunteer_match_percent", "aftercare_years_least", "accept_days", "report_days",
        "funder_org_id", "grant_prefix",
    )  # fmt: skip
    pointers = {name: f"/{name}" for name in NAMES}
    TEXTS: ClassVar[tuple[str, ...]] = ("about", "who_may_bid", "funder_org_id", "grant_prefix")

    name = forms.CharField(max_length=120, required=False, label="Name of the round")
    funder = forms.CharField(max_length=120, required=False, label="Who gives the money")
    pot_gbp = Amount(POUNDS, label="The pot, in pounds")
    opens_at = Moment(label="It opens")
    closes_at = Moment(label="It closes", help_text="Nobody is late who began to hand in before.")
    starts_earliest_on = Day(label="Work starts at the earliest on", help_text="Money is not given for work done.")
    longest_months = Amount(whole=True, label="Longest, in months", initial="24")
    about = Paragraphs(label="What it is for", help_text="Everybody reads it once it is announced.")
    who_may_bid = Paragraphs(label="Who may bid")
    must_show = Several(choices=Proof.choices, label="Groups must be able to show")
    categories = Several(choices=LineCategory.choices, label="It pays for", help_text="None ticked: for everything.")
    group_limit_gbp = Amount(POUNDS, label="Most for one group, in pounds", help_text="Empty: no limit.")
    district_limit_gbp = Amount(POUNDS, label="Most for one district, in pounds", help_text="Empty: no limit.")
    match_percent = Amount(whole=True, label="Match, percent of a bid’s whole cost", initial="0")
    volunteer_match_percent = Amount(
        whole=True, label="Of that match, volunteers’ time may be at most, percent", initial="100"
    )
    aftercare_years_least = Amount(whole=True, label="Years of yearly care to be promised", initial="0")
    accept_days = Amount(whole=True, label="Days to accept an offer", initial="30")
    report_days = Amount(whole=True, label="Days to report after the end", initial="60")
    funder_org_id = forms.CharField(
        max_length=60,
        required=False,
        label="The funder’s identifier in open data",
        help_text="Letters, figures and hyphens, such as GB-CHC-0000000.",
    )
    grant_prefix = forms.CharField(max_length=40, required=False, label="What identifiers of awards begin with")

    def __init__(
        self, *args: Any, network: Network, districts: Iterable[District], row: GrantRound | None = None, **kw: Any
    ) -> None:
        self.network, self.row = network, row
        super().__init__(*args, initial=_filled_in(row) if row is not None else None, **kw)
        names = [(str(district.public_id), district.name) for district in districts]
        self.fields["district_id"] = Pick(names, blank="The whole county", label="Only groups of")
        for n in range(1, CRITERIA + 1):
            self.fields[f"criterion_{n}_name"] = forms.CharField(max_length=120, required=False, label=f"{n}. What")
            self.fields[f"criterion_{n}_about"] = forms.CharField(
                max_length=500, required=False, label="What a good bid shows"
            )
            self.fields[f"criterion_{n}_weight"] = Amount(whole=True, label="Weight")
            self.fields[f"criterion_{n}_most"] = Amount(whole=True, label="Best score")
        for n in range(1, RATES + 1):
            self.fields[f"rate_{n}_skill"] = Pick(Skill.choices, blank="None", label=f"{n}. Time that is")
            self.fields[f"rate_{n}_gbp_per_hour"] = Amount(POUNDS, label="Pounds an hour")
            self.fields[f"rate_{n}_from_day"] = Day(label="From")
        if row is not None and row.state != "draft":
            for field in [field for field in self.fields if field not in {*CHANGEABLE, "version"}]:
                del self.fields[field]

    def asked(self) -> dict[str, Any]:
        data = super().asked() | {"network_id": str(self.network.public_id)}
        return data | self._rows("criteria", "criterion", CRITERIA, _CRITERION) | self._rows(
            "rates", "rate", RATES, _RATE
        )  # fmt: skip

    def _rows(self, pointer: str, prefix: str, most: int, names: tuple[str, ...]) -> dict[str, Any]:
        rows: list[dict[str, Any]] = []
        for n in range(1, most + 1):
            said = {name: sent(self.cleaned_data.get(f"{prefix}_{n}_{name}")) for name in names}
            if any(value is not None for value in said.values()):
                self.extra_pointers |= {f"/{pointer}/{len(rows)}/{name}": f"{prefix}_{n}_{name}" for name in names}
                rows.append({name: value for name, value in said.items() if value is not None})
        return {pointer: rows}

    def said(self, refusal: FieldError, name: str | None) -> str:
        if name is not None and name.startswith("criterion_") and refusal.code == "missing":
            return "Say what is scored, or leave the whole line empty."
        return super().said(refusal, name)

    def _there(self, *names: str) -> list[BoundField]:
        return [self[name] for name in names if name in self.fields]

    @property
    def first(self) -> list[BoundField]:
        return self._there("name", "funder", "about", "who_may_bid", "pot_gbp")

    @property
    def dates(self) -> list[BoundField]:
        return self._there(
            "opens_at", "closes_at", "starts_earliest_on", "longest_months", "accept_days", "report_days"
        )

    @property
    def rules(self) -> list[BoundField]:
        return self._there(
            "district_id", "group_limit_gbp", "district_limit_gbp", "match_percent", "volunteer_match_percent",
            "aftercare_years_least", "must_show", "categories", "funder_org_id", "grant_prefix",
        )  # fmt: skip

    @property
    def criteria(self) -> list[list[BoundField]]:
        return [
            row for n in range(1, CRITERIA + 1) if (row := self._there(*(f"criterion_{n}_{c}" for c in _CRITERION)))
        ]

    @property
    def more_open(self) -> bool:
        """Whether something stands in the criteria beyond those shown at first."""
        names = [f"criterion_{n}_{c}" for n in range(SHOWN_CRITERIA + 1, CRITERIA + 1) for c in _CRITERION]
        return self.filled(*names)

    @property
    def rates(self) -> list[list[BoundField]]:
        return [row for n in range(1, RATES + 1) if (row := self._there(*(f"rate_{n}_{c}" for c in _RATE)))]


class RoundChangeForm(RoundForm):
    """What is to be different in a round; announced, only what takes nothing from those who write bids."""

    contract = RoundChange
    only_changes = True

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        data.pop("network_id")
        if "criterion_1_name" not in self.fields:
            data.pop("criteria")
            data.pop("rates")
        for name in self.TEXTS:
            if name in data:
                data[name] = data[name] or ""
        return data


def _filled_in(row: GrantRound) -> dict[str, Any]:
    """What the form of a round is filled in with."""
    said: dict[str, Any] = {
        name: getattr(row, name)
        for name in (
            "version", "name", "funder", "about", "who_may_bid", "must_show", "categories", "funder_org_id",
            "grant_prefix", "starts_earliest_on",
        )
    }  # fmt: skip
    said |= {
        name: str(getattr(row, name))
        for name in (
            "longest_months", "match_percent", "volunteer_match_percent", "aftercare_years_least", "accept_days",
            "report_days",
        )
    }  # fmt: skip
    said |= {name: timezone.localtime(getattr(row, name)) for name in ("opens_at", "closes_at")}
    for name in ("pot", "group_limit", "district_limit"):
        amount = getattr(row, f"{name}_pence")
        said[f"{name}_gbp"] = typed(None if amount is None else amount / PENCE)
    said["district_id"] = str(row.district.public_id) if row.district else ""
    for n, criterion in enumerate(row.criteria.all(), 1):
        said |= {f"criterion_{n}_{name}": getattr(criterion, name) for name in ("name", "about")}
        said |= {f"criterion_{n}_{name}": str(getattr(criterion, name)) for name in ("weight", "most")}
    for n, rate in enumerate(row.rates.all(), 1):
        said |= {
            f"rate_{n}_skill": rate.skill, f"rate_{n}_from_day": rate.from_day,
            f"rate_{n}_gbp_per_hour": typed(rate.pence_per_hour / PENCE),
        }  # fmt: skip
    return said


class InterestForm(ServiceForm):
    """Somebody is near to a group."""

    contract = InterestNew
    pointers = {"group_id": "/group_id", "reason": "/reason"}
    reason = forms.CharField(
        max_length=300,
        required=False,
        label="Why, in a few words",
        help_text="The fund manager reads it. It can be left out.",
    )

    def __init__(self, *args: Any, groups: Iterable[Group], **kw: Any) -> None:
        super().__init__(*args, **kw)
        names = [(str(group.public_id), group.name) for group in groups]
        self.fields["group_id"] = Pick(names, blank="Choose", label="The group you are near to")
        self.order_fields(["group_id", "reason"])
