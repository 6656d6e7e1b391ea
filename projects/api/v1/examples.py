"""Worked examples in the description: requests, and real answers as `manage.py refresh_examples` wrote them."""

from typing import Any

import orjson
from django.conf import settings

FOLDER = settings.BASE_DIR / "fixtures" / "worked_examples"
ASKED = {
    "/api/v1/estimates/": {
        "smallest": "The smallest request: the rest is assumed and planned, and the answer says what",
        "churchyard": "A churchyard, eight people, a borrowed scarifier",
        "dated_steps": "A field with dated steps on two parts of it",
    },
    "/api/v1/comparisons/": {
        "comparison": "Two ways to prepare the ground of a churchyard",
    },
}
NOUNS_ASKED = {
    ("/api/v1/sites/", "post"): {"site": "A churchyard, shown to everybody by its square of 1 km"},
    ("/api/v1/projects/", "post"): {
        "project": "Eight people and a borrowed scarifier; the rest is left to the service"
    },
    ("/api/v1/projects/{public_id}/steps/", "post"): {"step": "Sown: the latest forecast is fixed"},
    ("/api/v1/projects/{public_id}/diary/", "post"): {"work": "A morning's sowing"},
    ("/api/v1/rounds/", "post"): {"round": "A pot of £60,000, with its limits and what bids are scored on"},
    ("/api/v1/bids/", "post"): {"bid": "A churchyard's bid: seed and hire, with volunteers' mornings beside"},
    ("/api/v1/bids/{public_id}/review/", "post"): {"review": "Scores on both criteria, sent"},
    ("/api/v1/rounds/{public_id}/choices/", "post"): {"choice": "One bid held in, for the worst fifth of worlds"},
    ("/api/v1/bids/{public_id}/decisions/", "post"): {"decision": "On a condition"},
    ("/api/v1/awards/{public_id}/payments/", "post"): {"payment": "Sown"},
    ("/api/v1/awards/{public_id}/changes/", "post"): {"change": "A year later, after a wet autumn"},
    ("/api/v1/permissions/{public_id}/", "patch"): {"permission": "Given in writing, for five years"},
}
NOUNS_ANSWERED = {
    ("/api/v1/sites/{public_id}/", "get", "200"): {"site.answer": "As a stranger reads it"},
    ("/api/v1/projects/{public_id}/", "get", "200"): {"project.answer": "As its own group reads it"},
    ("/api/v1/open-grants/", "get", "200"): {"open_grants.answer": "One published award"},
    ("/api/v1/projects/{public_id}/diary/", "post", "201"): {"work.answer": "The line as it is kept"},
}
ANSWERED = {
    "/api/v1/estimates/": {"churchyard": "The churchyard's estimate, with the first two entries of every list"},
    "/api/v1/comparisons/": {"comparison": "The comparison, with the first two entries of every list"},
}
KEPT = 2


def read(name: str) -> Any:
    """Return one worked example."""
    return orjson.loads((FOLDER / f"{name}.json").read_bytes())


def shortened(value: Any) -> Any:
    """Return the same structure with the first entries of every list only."""
    if isinstance(value, dict):
        return {key: shortened(item) for key, item in value.items()}
    if isinstance(value, list):
        return [shortened(item) for item in value[:KEPT]]
    return value


def add_examples(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Put the examples into the description."""
    for path, names in ASKED.items():
        operation = result["paths"][path]["post"]
        operation["requestBody"]["content"]["application/json"]["examples"] = {
            name: {"summary": summary, "value": read(name)} for name, summary in names.items()
        }
        operation["responses"]["200"]["content"]["application/json"]["examples"] = {
            name: {"summary": summary, "value": read(f"{name}.answer")} for name, summary in ANSWERED[path].items()
        }
    for (path, method), names in NOUNS_ASKED.items():
        body = result["paths"][path][method]["requestBody"]["content"]["application/json"]
        body["examples"] = {name: {"summary": summary, "value": read(name)} for name, summary in names.items()}
    for (path, method, status), names in NOUNS_ANSWERED.items():
        content = result["paths"][path][method]["responses"][status]["content"]["application/json"]
        content["examples"] = {
            name.partition(".")[0]: {"summary": summary, "value": read(name)} for name, summary in names.items()
        }
    return result
