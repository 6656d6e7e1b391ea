"""Money of a bid: what is claimed beside what the model has for the same work within the grant's time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np

from modelling.answer_parts import money_of
from modelling.appraisal_parts import Project
from modelling.contracts.appraisal import AppraisalQuestion, ClaimedLine
from modelling.core.appraisal import share_below
from modelling.core.cost import CASH, IN_KIND, SETUP, Line
from modelling.core.distributions import Array

AFTERCARE: Final = "aftercare"
VOLUNTEERS: Final = "volunteers"
WEEDING: Final = "weeding"
CONTINGENCY: Final = "contingency"
#: categories that the model has a figure for, by kind of money
KNOWN: Final = {
    CASH: (
        "seed", "plugs", "hire", "contractor", "fuel", "materials", "disposal", "survey", CONTINGENCY, AFTERCARE,
    ),
    IN_KIND: (VOLUNTEERS, "kit", AFTERCARE),
}  # fmt: skip
LABELS: Final = {
    "seed": "Seed", "plugs": "Plug plants", "hire": "Hire", "contractor": "Contractors", "fuel": "Fuel",
    "materials": "Materials", "disposal": "Taking cuttings or spoil away", "survey": "Soil test and survey",
    CONTINGENCY: "Contingency", AFTERCARE: "Yearly care", VOLUNTEERS: "Volunteers' time", "kit": "Kit lent",
    WEEDING: "Weeding", "paid_labour": "Paid work", "travel": "Travel", "events": "Events", "overhead": "Overhead",
    "other": "Other",
}  # fmt: skip
PENCE: Final = 100


def kind_of(line: ClaimedLine) -> str:
    """Cash or in kind."""
    return IN_KIND if line.fund == IN_KIND else CASH


@dataclass(frozen=True)
class Compared:
    """Claimed and modelled pounds of some lines; modelled with shape (draws,)."""

    claimed_net: float
    claimed_gross: float
    net: Array
    gross: Array
    lines: tuple[int, ...] = ()

    def answer(self) -> dict[str, Any]:
        """As `CostComparison`."""
        return {
            "claimed_net_gbp": round(self.claimed_net, 2),
            "claimed_gross_gbp": round(self.claimed_gross, 2),
            "modelled_net": money_of(self.net),
            "modelled_gross": money_of(self.gross),
            "share_below_net": share_below(self.net, self.claimed_net),
            "share_below_gross": share_below(self.gross, self.claimed_gross),
        }


class Budget:
    """The bid's budget beside the model's."""

    def __init__(self, question: AppraisalQuestion, projects: Sequence[Project]) -> None:
        self.question, self.projects = question, projects
        self.parameters = projects[0].parameters
        self.n = min(project.result.question.draws for project in projects)
        self.rates = {rate.skill: rate.pence_per_hour / PENCE for rate in question.round.in_kind_rates}
        claimed = [(kind_of(line), line.category) for line in question.lines]
        #: kinds of money in which the bid shows yearly care as one heading
        self.care_apart = {kind for kind, category in claimed if category == AFTERCARE}

    # ---------------------------------------------------------------- modelled

    def modelled_lines(self, project: Project) -> list[tuple[str, str, Array, Array]]:
        """Kind, category, net and gross pounds of every line of one project within the grant's time."""
        out = []
        for line in project.result.work.lines:
            times = project.times(line.stage)
            if not times:
                continue
            category = AFTERCARE if line.stage != SETUP and line.kind in self.care_apart else line.category
            net, gross = self.pounds(project, line)
            out.append((line.kind, category, net[: self.n] * times, gross[: self.n] * times))
        return out

    def pounds(self, project: Project, line: Line) -> tuple[Array, Array]:
        """A line once, net and gross; volunteers' hours at the round's own rates where it has them."""
        skill = line.key.removeprefix("volunteer_")
        if line.category == VOLUNTEERS and skill in self.rates:
            value = project.hours(line.stage, skill) * self.rates[skill]
            return value, value
        return line.net_gbp, line.gross_gbp

    @cached_property
    def modelled(self) -> dict[tuple[str, str], tuple[Array, Array]]:
        """Pounds by kind and category, net and gross, all projects together."""
        out: dict[tuple[str, str], tuple[Array, Array]] = {}
        for project in self.projects:
            for kind, category, net, gross in self.modelled_lines(project):
                had = out.get((kind, category), (np.zeros(self.n), np.zeros(self.n)))
                out[kind, category] = (had[0] + net, had[1] + gross)
        return out

    # ---------------------------------------------------------------- claimed

    def heading(self, line: ClaimedLine) -> tuple[str, str] | None:
        """Kind and category under which a line is compared; None where the model has no figure for it."""
        kind = kind_of(line)
        category = VOLUNTEERS if kind == IN_KIND and line.category == WEEDING else line.category
        return (kind, category) if category in KNOWN[kind] else None

    @cached_property
    def claimed(self) -> dict[tuple[str, str], list[int]]:
        """Numbers of the lines by kind and category."""
        out: dict[tuple[str, str], list[int]] = {}
        for number, line in enumerate(self.question.lines):
            heading = self.heading(line)
            if heading is not None:
                out.setdefault(heading, []).append(number)
        return out

    @cached_property
    def unknown(self) -> list[int]:
        """Numbers of the lines that the model has no figure for."""
        return [number for number, line in enumerate(self.question.lines) if self.heading(line) is None]

    # ---------------------------------------------------------------- compared

    def compared(self, kind: str, category: str) -> Compared:
        """One category of one kind of money."""
        net, gross = self.modelled.get((kind, category), (np.zeros(self.n), np.zeros(self.n)))
        lines = self.claimed.get((kind, category), [])
        return Compared(*self.sums(lines), net, gross, tuple(lines))

    def sums(self, lines: Sequence[int]) -> tuple[float, float]:
        """Pounds claimed in some lines, net and gross."""
        asked = [self.question.lines[number] for number in lines]
        return sum(line.net_pence for line in asked) / PENCE, sum(line.gross_pence for line in asked) / PENCE

    def total(self, kind: str) -> Compared:
        """All that the model has a figure for, of one kind of money."""
        parts = [self.compared(kind, category) for category in self.categories(kind)]
        nothing = np.zeros(self.n)
        lines = sorted(number for part in parts for number in part.lines)
        return Compared(
            *self.sums(lines),
            sum((part.net for part in parts), start=nothing),
            sum((part.gross for part in parts), start=nothing),
            tuple(lines),
        )

    def categories(self, kind: str) -> list[str]:
        """Categories of one kind of money that are claimed or modelled, in the usual order."""
        there = {category for own, category in (*self.claimed, *self.modelled) if own == kind}
        return [category for category in LABELS if category in there]

    def pays(self, part: Compared) -> tuple[float, Array]:
        """Claimed and modelled as the group pays it: with VAT, unless it gets VAT back."""
        return (part.claimed_net, part.net) if self.question.reclaims_vat else (part.claimed_gross, part.gross)

    def fund(self, fund: str) -> float:
        """Pounds of one source as the group pays them."""
        lines = [number for number, line in enumerate(self.question.lines) if line.fund == fund]
        return self.sums(lines)[0 if self.question.reclaims_vat else 1]

    @cached_property
    def volunteer_share(self) -> float | None:
        """Volunteers' time as a share of all match, cash and in kind."""
        match = self.fund("match") + self.fund(IN_KIND)
        given = self.sums(self.claimed.get((IN_KIND, VOLUNTEERS), []))[1]
        return given / match if match > 0 else None

    def answer(self) -> dict[str, Any]:
        """As `CostAppraisal`."""
        lines = []
        for kind in (CASH, IN_KIND):
            for category in self.categories(kind):
                part = self.compared(kind, category)
                words = {"category": category, "label": LABELS[category], "kind": kind, "lines": list(part.lines)}
                lines.append(words | part.answer())
        unknown = []
        for number in self.unknown:
            line = self.question.lines[number]
            unknown.append(
                {
                    "line": number,
                    "label": line.label,
                    "category": line.category,
                    "kind": kind_of(line),
                    "gross_gbp": line.gross_pence / PENCE,
                }
            )
        return {
            "cash": self.total(CASH).answer(),
            "in_kind": self.total(IN_KIND).answer(),
            "lines": lines,
            "unknown": unknown,
            "grant_gbp": self.fund("grant"),
            "match_cash_gbp": self.fund("match"),
            "match_in_kind_gbp": self.fund(IN_KIND),
            "volunteer_share_of_match": self.volunteer_share,
            "summers_paid": max(project.summers_paid for project in self.projects),
            "price_year": self.question.as_of.year,
            "note": (
                "Claims are held against the work of the plan within the grant's time, net with net and gross with "
                "gross. Cash and in kind are kept apart. Only means add up. The model has no figure for travel, "
                "events, paid work, overhead and insurance."
            ),
        }
