"""Put the scores of several assessors on one scale, and say which bids they cannot tell apart."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from scipy.special import ndtri

from modelling import wording
from modelling.contracts.scores import ScoreAnswer, ScoreQuestion
from modelling.core.scores import Calibrated, calibrate
from modelling.selectors import parameters

_DIGITS: Final = 9


def calibrated(question: ScoreQuestion) -> dict[str, Any]:
    """Bids and assessors on one scale: plain values, shaped as `contracts.scores.ScoreAnswer`."""
    bids = sorted({entry.bid for entry in question.scores})
    assessors = sorted({entry.assessor for entry in question.scores})
    if not bids:
        empty = {"bids": [], "assessors": [], "parts": 0, "noise_sd": None, "leniency_sd": None}
        return ScoreAnswer.model_validate({"sentences": ["Nothing has been scored."], **empty}).model_dump()
    of_bid = np.array([bids.index(entry.bid) for entry in question.scores], dtype=np.int64)
    of_assessor = np.array([assessors.index(entry.assessor) for entry in question.scores], dtype=np.int64)
    scores = np.array([entry.score for entry in question.scores])
    value = parameters().value
    found = calibrate(of_bid, of_assessor, scores, value("planning", "scores", "usual_ratio"))
    errors = float(ndtri((1 + value("planning", "scores", "confidence")) / 2))
    order = sorted(range(len(bids)), key=lambda n: (-round(float(found.adjusted[n]), _DIGITS), bids[n]))
    rows = [
        {
            "bid": bids[number],
            "scores": int((of_bid == number).sum()),
            "mean": float(found.means[number]),
            "adjusted": float(found.adjusted[number]),
            "standard_error": None
            if found.noise_sd is None
            else found.noise_sd * float(np.sqrt(found.variances[number, number])),
            "part": int(found.parts[number]),
            "first_below": next(
                (bids[other] for other in order[place + 1 :] if found.told_apart(number, other, errors)), None
            ),
        }
        for place, number in enumerate(order)
    ]
    answer = {
        "sentences": _sentences(found, rows),
        "bids": rows,
        "assessors": [
            {
                "assessor": name,
                "scores": int((of_assessor == number).sum()),
                "leniency": float(found.leniency[number]),
            }
            for number, name in enumerate(assessors)
        ],
        "parts": int(found.parts.max()) + 1,
        "noise_sd": found.noise_sd,
        "leniency_sd": found.leniency_sd,
    }
    return ScoreAnswer.model_validate(answer).model_dump()


def _sentences(found: Calibrated, rows: list[dict[str, Any]]) -> list[str]:
    out = []
    parts = int(found.parts.max()) + 1
    if parts > 1:
        out.append(
            f"The scores fall into {wording.count(parts)} parts without an assessor in common: bids of different parts "
            "cannot be told apart by them."
        )
    if found.noise_sd is None:
        out.append(
            "There are too few scores to tell a lenient assessor from a good bid: leniency is taken to be as usual, "
            "and no bid is clearly above another."
        )
        return out
    clear = sum(row["first_below"] is not None for row in rows)
    apart = "No bid is" if not clear else f"{wording.count(clear).capitalize()} of {len(rows)} bids are"
    if clear == 1:
        apart = f"One of {len(rows)} bids is"
    out.append(
        f"Two scores of one bid differ by chance by about {wording.figure(found.noise_sd * float(np.sqrt(2)))} points. "
        f"{apart} clearly above some other."
    )
    return out
