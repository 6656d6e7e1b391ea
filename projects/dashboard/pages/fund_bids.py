"""One bid in words, for those who read it: claims beside the model, flags, promises, what the group did before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.utils.safestring import SafeString

from projects.choices import LineCategory, PaidBy, Proof
from projects.dashboard import charts, words
from projects.dashboard.pages.estimate import EstimatePage, axis_pounds
from projects.dashboard.pages.flags import FlagLine
from projects.models import Bid, FlagAnswer
from projects.rules.bids import pounds
from projects.selectors.appraisals import M2_PER_HA

Answer = Mapping[str, Any]


@dataclass(frozen=True)
class CostLine:
    """Claimed and modelled money of one kind of line."""

    line: Answer

    @property
    def label(self) -> str:
        return str(self.line["label"])

    @property
    def claimed(self) -> str:
        gross = self.line["claimed_gross_gbp"]
        return words.pounds_exact(gross) if gross else "nothing"

    @property
    def modelled(self) -> str:
        return words.money_span(self.line["modelled_gross"])

    @property
    def verdict(self) -> str:
        """Where the claim lies, in words."""
        gross, model = self.line["claimed_gross_gbp"], self.line["modelled_gross"]
        if gross < model["p10_gbp"]:
            return "below the model’s range"
        if gross > model["p90_gbp"]:
            return "above the model’s range"
        return "within the model’s range"


class BidPage:
    """A bid as it was handed in, with its appraisal where there is one."""

    def __init__(
        self,
        bid: Bid,
        appraisal: Answer | None,
        place: Answer | None,
        forecasts: list[tuple[str, dict[str, Any]]],
        record: Answer,
        answers: Sequence[Sequence[FlagAnswer]] = (),
    ) -> None:
        self.bid, self.appraisal, self.place, self.record = bid, appraisal, place, record
        #: what the group said to each flag of the appraisal
        self.answers = answers
        self.forecasts = [(name, EstimatePage(answer)) for name, answer in forecasts]

    @property
    def sentence(self) -> str:
        """The bid in one sentence."""
        if self.appraisal is not None:
            return str(self.appraisal["sentences"][0])
        return f"{pounds(self.bid.asked_pence)} is asked; the bid has not been appraised yet."

    @property
    def more(self) -> list[str]:
        return [] if self.appraisal is None else list(self.appraisal["sentences"][1:])

    # ---------------------------------------------------------------- cost

    def _compared(self, kind: str) -> list[CostLine]:
        lines = self.appraisal["cost"]["lines"] if self.appraisal is not None else []
        return [
            CostLine(line)
            for line in lines
            if line["kind"] == kind and (line["claimed_gross_gbp"] or line["modelled_gross"]["p90_gbp"])
        ]

    @property
    def cash(self) -> list[CostLine]:
        return self._compared("cash")

    @property
    def in_kind(self) -> list[CostLine]:
        return self._compared("in_kind")

    @cached_property
    def cost_chart(self) -> SafeString:
        """Claimed beside modelled cash, line by line."""
        if not self.cash:
            return SafeString("")
        rows = [
            charts.Bar(
                row.label, row.line["modelled_gross"]["p10_gbp"], row.line["modelled_gross"]["p50_gbp"],
                row.line["modelled_gross"]["p90_gbp"], row.claimed, claimed=row.line["claimed_gross_gbp"],
            )
            for row in self.cash
        ]  # fmt: skip
        legend = {"a": "modelled: 8 in 10 outcomes, stroke the middle", charts.CLAIMED: "claimed, also written"}
        return charts.bars(
            "claims", "Cash claimed and modelled, by line", rows, axis="Cash with VAT", write=axis_pounds, legend=legend
        )

    @property
    def cost_finding(self) -> str:
        outside = [row for row in self.cash if not row.verdict.startswith("within")]
        if not self.cash:
            return "No cash is claimed for work that the model has a figure for."
        if not outside:
            return "Every line of cash lies within what the model has for the same work."
        told = [f"{words.lowered(row.label)} {row.verdict.split()[0]}" for row in outside]
        return f"Outside what the model has for the same work: {words.listed(told)} its range."

    @property
    def unknown(self) -> list[str]:
        lines = self.appraisal["cost"]["unknown"] if self.appraisal is not None else []
        return [f"{line['label']}: {words.pounds_exact(line['gross_gbp'])}" for line in lines]

    @property
    def budget(self) -> list[tuple[str, str, str, str, str]]:
        """Every line of the budget as it was handed in."""
        return [
            (
                line.what,
                str(LineCategory(line.category).label),
                f"{words.figure(line.quantity_milli / 1000, 6)} {line.unit}".strip(),
                str(PaidBy(line.paid_by).label) + (f", {line.source}" if line.source else ""),
                pounds(line.gross_pence),
            )
            for line in self.bid.lines.all()
        ]

    @property
    def money(self) -> str:
        """Whose money, in one sentence."""
        if self.appraisal is None:
            return ""
        cost = self.appraisal["cost"]
        parts = [f"{words.pounds_exact(cost['grant_gbp'])} from the round"]
        if cost["match_cash_gbp"]:
            parts.append(f"{words.pounds_exact(cost['match_cash_gbp'])} in cash from elsewhere")
        if cost["match_in_kind_gbp"]:
            parts.append(f"and, apart from that, {words.pounds_exact(cost['match_in_kind_gbp'])} worth given in kind")
        return words.sentence("; ".join(parts))

    @property
    def by_hectare(self) -> str:
        """What a hectare costs, within its size class."""
        if self.appraisal is None or self.place is None:
            return ""
        value, place = self.appraisal["value"], self.place
        text = (
            f"{words.pounds_exact(value['grant_per_ha_gbp'])} of grant a hectare, for "
            f"{words.area(value['area_ha'] * M2_PER_HA)} ({value['size_class_label']}). "
        )
        if place["bids"] == 1:
            return text + "It is the only bid of its size class among those you read."
        return (
            text + f"Among the {words.counted(place['bids'])} bids of its size class that you read it is number "
            f"{place['place']} from the cheapest; the middle one costs "
            f"{words.pounds_exact(place['median_grant_per_ha_gbp'])} a hectare. Small ground is dear by the hectare, "
            "so sizes are not set against each other."
        )

    # ---------------------------------------------------------------- what will come of it

    @property
    def outcome(self) -> str:
        if self.appraisal is None:
            return ""
        kept, usual = self.appraisal["outcome"]["rich_ha_if_kept"], self.appraisal["outcome"]["rich_ha_as_usual"]
        least = words.figure(self.appraisal["outcome"]["species_rich_from"])
        return (
            f"Ground with {least} species in a square metre or more: {rough(usual['mean'])} to be "
            f"expected as groups usually manage, {rough(kept['mean'])} if the yearly care is kept."
        )

    @property
    def fans(self) -> list[tuple[str, SafeString, EstimatePage]]:
        return [(name, page.fan(f"fan-{n}"), page) for n, (name, page) in enumerate(self.forecasts, 1)]

    @property
    def promises(self) -> list[tuple[str, str, str]]:
        """Each promise, its chance as groups usually manage, and if the care is kept."""
        rows = self.appraisal["promises"] if self.appraisal is not None else []
        return [
            (row["sentence"].partition(": ")[0], _odds(row["chance_as_usual"]), _odds(row["chance_if_kept"]))
            if row["kind"] in {"species_per_m2", "plant"}
            else (row["sentence"], _odds(row["chance_as_usual"]), _odds(row["chance_if_kept"]))
            for row in rows
        ]

    @property
    def delivery(self) -> list[str]:
        if self.appraisal is None:
            return []
        found = self.appraisal["delivery"]
        return [
            f"The cash pays for the work: {words.chance(found['chance_cash_enough'])}.",
            f"The work takes {words.work_span(found['person_hours'])} of {found['crew']} volunteers on "
            f"{words.whole_span(found['work_days'], 'day', 'days')}"
            + (
                f"; {words.figure(found['crew_hours_promised'])} hours are promised."
                if found["crew_hours_promised"]
                else "."
            ),
        ]

    @property
    def permissions(self) -> list[tuple[str, str]]:
        rows = self.appraisal["permissions"] if self.appraisal is not None else []
        return [
            (
                row["label"],
                row["standing"].replace("_", " ")
                + (f", until {words.day(row['expires_on'])}" if row["expires_on"] else ""),
            )
            for row in rows
            if row["needed"] or row["standing"] != "not_needed"
        ]

    # ---------------------------------------------------------------- flags

    @property
    def flags(self) -> list[FlagLine]:
        """What to look at, with where the rule comes from, how sure it is, and what the group answered."""
        rows = self.appraisal["flags"] if self.appraisal is not None else []
        return [FlagLine(row, answers) for row, answers in zip(rows, self.answers, strict=True)]

    # ---------------------------------------------------------------- before

    @property
    def before(self) -> list[str]:
        """What the group did before, as it stood when the bid was handed in; only of ground that may be shown."""
        due, agreed = self.record.get("returns_due", 0), self.record.get("returns_agreed", 0)
        forecasts = self.record.get("forecasts", [])
        told = []
        if due:
            told.append(f"{words.opened(words.counted(agreed))} of {words.counted(due)} yearly returns that were due "
                        "are there and agreed.")  # fmt: skip
        else:
            told.append("No yearly return was due from this group yet.")
        if not forecasts:
            return [*told, "No earlier meadow of theirs can be held against its forecast yet."]
        below = sum(row["found"] < row["p10"] for row in forecasts)
        above = sum(row["found"] > row["p90"] for row in forecasts)
        inside = len(forecasts) - below - above
        told.append(
            f"{words.opened(words.counted(len(forecasts)))} earlier {words.plural(len(forecasts), 'meadow')} can be "
            f"held against the forecast fixed when it was sown: {_some(inside)} within its range, {_some(below)} below "
            f"and {_some(above)} above."
        )
        return told

    @property
    def earlier(self) -> list[tuple[int, str, str, str]]:
        """Each earlier meadow: species forecast and found."""
        return [
            (n, words.between(words.figure(row["p10"]), words.figure(row["p90"])), words.figure(row["p50"]),
             words.figure(row["found"]))
            for n, row in enumerate(self.record.get("forecasts", []), 1)
        ]  # fmt: skip

    @property
    def proofs(self) -> list[tuple[str, str]]:
        rows = []
        for proof in self.bid.proofs.all():
            text = "they say they have it" if proof.has_it else "they say they have none"
            if proof.seen_on is not None:
                text = f"seen on {words.day(proof.seen_on)}"
            rows.append((str(Proof(proof.what).label), text))
        return rows


def _some(number: int) -> str:
    return words.counted(number) if number else "none"


def rough(hectares: float) -> str:
    """Ground that is forecast, to two digits: below a tenth of a hectare in square metres."""
    square = hectares * M2_PER_HA
    return words.area(float(f"{square:.2g}")) if square else "none"


def _odds(share: float | None) -> str:
    return "the model cannot tell" if share is None else words.odds(share)
