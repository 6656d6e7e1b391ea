"""What a group did before, as a bid is handed in with it: returns due and agreed, and what was found of forecasts.

Only of ground that may be shown: the funder reads it, and a private garden is in none of its figures.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any, Final

import orjson

from modelling.outcomes import found_on_forecast
from modelling.selectors import run_answer_text
from projects.choices import Publicity
from projects.models import MeadowProject, OutcomeReturn
from projects.selectors.returns import kept_results, made_before

#: the figure of a walk that forecasts are held against, and the forecast: as groups usually manage
FIGURE: Final = "species_per_quadrat"
FORECAST: Final = "as_usual"
#: earlier meadows that a bid is handed in with, the latest walked first
MOST_MEADOWS: Final = 1_000


def group_record(group_id: int, today: date) -> dict[str, Any]:
    """Yearly returns of a group that were due, for whole years since each sowing, those agreed, and earlier forecasts.

    `forecasts` holds one entry for each meadow whose forecast was fixed before it was walked: kinds in a square metre
    as forecast for the summer of its latest agreed return, and as found there, allowed for what people of the
    surveyor's grade overlook.
    """
    open_ground = MeadowProject.objects.filter(group=group_id).exclude(site__publicity=Publicity.PRIVATE)
    sown = open_ground.filter(sown_on__isnull=False).values_list("sown_on", flat=True)
    due = sum(max(today.year - 1 - day.year, 0) for day in sown if day is not None)
    agreed = OutcomeReturn.objects.filter(project__in=open_ground.values("pk"), agreed__isnull=False)
    return {
        "returns_due": due,
        "returns_agreed": min(agreed.filter(year__lt=today.year).count(), due),
        "forecasts": found_beside_forecasts(agreed.select_related("project__baseline__run").order_by("-year", "pk")),
    }


def found_beside_forecasts(agreed: Iterable[OutcomeReturn]) -> list[dict[str, float]]:
    """Each meadow's latest walk beside the forecast fixed for it, where the two can be compared."""
    rows = [row for row in agreed if row.project.baseline is not None]
    results = kept_results(rows)
    found: dict[int, dict[str, float]] = {}
    for row in rows:
        forecast, result = row.project.baseline, results.get(row.pk)
        if row.project_id in found or forecast is None or result is None:
            continue
        if not made_before(forecast, date.fromisoformat(result["on"])):
            continue
        answer = orjson.loads(run_answer_text(forecast.run.public_id))
        told = found_on_forecast(answer, result, row.year)
        figure = next((entry for entry in told["figures"] if entry["figure"] == FIGURE), None)
        if figure is None:
            continue
        fan = next(entry for entry in figure["fans"] if entry["forecast"] == FORECAST)
        found[row.project_id] = {**{key: fan[key] for key in ("p10", "p50", "p90")}, "found": figure["adjusted"]}
        if len(found) == MOST_MEADOWS:
            break
    return list(found.values())
