"""An invented season, for the tests: nine donor meadows, fourteen ripe days, one harvester, twenty-three hopefuls."""

from datetime import date, timedelta
from typing import Any

FIRST = date(2027, 7, 10)
HABITATS = ("dry", "damp", "chalky")


def place(east_km: float, north_km: float) -> dict[str, int]:
    return {"east_m": 300_000 + round(east_km * 1000), "north_m": 200_000 + round(north_km * 1000)}


def points(area_m2: float, best: float) -> list[dict[str, Any]]:
    """Gain from half a gram to four grams a square metre, ever more slowly."""
    return [
        {"mg": round(area_m2 * rate * 1000), "gain_m2": round(area_m2 * best * (1 - 2**-rate), 3)}
        for rate in (0.5, 1, 2, 3, 4)
    ]


def hopeful(key: str, area_m2: float, best: float = 0.6, **more: Any) -> dict[str, Any]:
    return {
        "id": key,
        "label": key.replace("-", " ").capitalize(),
        "group": f"group-{key}",
        "most_mg": round(area_m2 * 4000),
        "least_mg": round(area_m2 * 500),
        "points": points(area_m2, best),
        **more,
    }


def season() -> dict[str, Any]:
    """Walk of a July: the same every time, laid out by rule and not by chance."""
    donors, harvests = [], []
    for n in range(9):
        donors.append(
            {
                "id": f"meadow-{n}",
                "label": f"Meadow {n}",
                "whole_mg": 24_000_000 + 3_000_000 * n,
                # meadow 4 was taken from last year, and rests
                "last_harvest_year": 2026 if n == 4 else 2022,
            }
        )
        first = FIRST + timedelta(days=n // 3 * 3)
        harvests.append(
            {
                "id": f"reap-{n}",
                "label": f"Meadow {n}",
                "donor": f"meadow-{n}",
                "first_day": first.isoformat(),
                "last_day": (first + timedelta(days=7)).isoformat(),
                "mg_per_half_day": 4_000_000 + 500_000 * n,
                "most_half_days": 3,
                "habitat": HABITATS[n % 3],
                "place": place(n % 3 * 12, n // 3 * 12),
            }
        )
    projects = [
        hopeful(
            f"site-{n:02}",
            400.0 + 350 * (n * 7 % 23),
            0.3 + 0.02 * (n * 5 % 23),
            suits=[HABITATS[n % 3], HABITATS[(n + 1) % 3]],
            place=place(n % 5 * 6, n % 4 * 7),
        )
        for n in range(21)
    ]
    projects.append(hopeful("far-away", 900.0, suits=["dry"], place=place(90, 5)))
    projects.append(hopeful("bog", 900.0, suits=["wet"], place=place(10, 10)))
    return {
        "year": 2027,
        "harvests": harvests,
        "donors": donors,
        "projects": projects,
        "pins": [{"source": "reap-0", "project": "site-03", "how": "give", "mg": 1_234_567}],
    }
