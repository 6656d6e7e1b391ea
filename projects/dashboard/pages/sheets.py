"""What the printed sheets say: weights per strip, who brings what."""

from dataclasses import dataclass
from math import ceil
from typing import Any

from projects.dashboard.pages.estimate import Answer, EstimatePage, share_words

STRIP_M2 = 50.0
MOST_STRIPS = 12


@dataclass(frozen=True)
class Weights:
    """One thing to sow, shared out evenly; weights in kg."""

    label: str
    total_kg: float
    strip_kg: float
    pass_kg: float


class SowingDay(EstimatePage):
    """The sheet for the day of sowing.

    Parameters
    ----------
    answer
        As `modelling.contracts.EstimateAnswer` describes it.
    strips
        Number of strips of equal area; None takes strips of about 50 m2, at most 12.
    """

    def __init__(self, answer: Answer, strips: int | None = None) -> None:
        super().__init__(answer)
        self.net_area_m2 = float(answer["plan"]["net_area_m2"])
        self.strips = strips or min(max(ceil(self.net_area_m2 / STRIP_M2), 1), MOST_STRIPS)

    @property
    def strip_m2(self) -> float:
        return self.net_area_m2 / self.strips

    @property
    def weights(self) -> list[Weights]:
        """Seed and carrier: each strip gets half one way and half across."""
        seed = self.answer["seed"]
        rows = [(line["label"], line["kg"]) for line in seed["items"]]
        if rows and seed["carrier_kg"]:
            rows.append(("Carrier: dry sand or sawdust", seed["carrier_kg"]))
        return [Weights(label, kg, kg / self.strips, kg / self.strips / 2) for label, kg in rows]

    @property
    def plugs(self) -> list[Answer]:
        return [taxon for taxon in self.answer["seed"]["taxa"] if taxon["plugs"]]

    @property
    def sowing_date(self) -> str:
        """The day of sowing or planting; the last day of the steps if nothing is sown."""
        steps = self.answer["plan"]["steps"]
        sown = [step["on"] for step in steps if (step["operation"] or "").startswith(("sow", "plant"))]
        return str((sown or [step["on"] for step in steps] or [self.answer["recipe"]["as_of"]])[-1])

    @property
    def steps_that_day(self) -> list[Answer]:
        """The operations of the day; what is sown stands with its weights."""
        steps = self.answer["plan"]["steps"]
        return [step for step in steps if step["on"] == self.sowing_date and step["operation"]]

    @property
    def shared(self) -> str:
        """Of the machines of that day, which to share."""
        return share_words(self._machines_that_day)

    @property
    def bring(self) -> list[str]:
        """What has to be there, each with a blank for a name."""
        wanted: list[Any] = []
        if self.weights:
            wanted += [
                "Seed, and the label or receipt of each lot",
                "Scales, a scoop and bags or buckets, one for each strip and way",
                "Sand or sawdust, dry, to carry the seed",
                "Pegs, string and a tape for the strips",
            ]
        if self.plugs:
            wanted += ["Plug plants, watered", "Trowels or bulb planters", "Watering cans and water"]
        wanted += [line["label"] for line in self._machines_that_day]
        wanted += [
            "Rakes and gloves",
            "First-aid kit, and a phone that works on the site",
            "Water to drink and to wash hands",
        ]
        return list(dict.fromkeys(wanted))

    @property
    def _machines_that_day(self) -> list[Answer]:
        there = {step["operation"] for step in self.steps_that_day}
        return [line for line in self.answer["machinery"]["lines"] if line["operation"] in there]
