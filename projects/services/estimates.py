"""Stored estimates by the batch."""

from __future__ import annotations

from typing import Any, Final, Protocol
from uuid import UUID

import orjson
from django.utils import timezone

from modelling import services
from modelling.contracts import EstimateRequest
from modelling.errors import FieldError, RequestRefused
from projects.models import Job
from projects.rules.jobs import JobRefused

MOST_REQUESTS: Final = 5_000


class Hold(Protocol):
    """What the batch asks of its worker's lease."""

    def progress(self, done: int) -> None:
        """Say how much is done."""

    def hand_back_when_time_is_up(self) -> None:
        """Stop here if the slice is over."""


def check_batch(payload: Any) -> int:
    """Return how many requests a payload holds; raises JobRefused if it is no list of texts."""
    if not isinstance(payload, list) or not all(isinstance(text, str) for text in payload):
        raise JobRefused("A batch of estimates is a list of requests, each as JSON text.")
    for number, text in enumerate(payload, start=1):
        if "\0" in text or not _is_unicode(text):
            raise JobRefused(f"Request {number} holds a NUL or half a character; JSON text is needed.")
    if not 1 <= len(payload) <= MOST_REQUESTS:
        raise JobRefused(f"A batch holds 1 to {MOST_REQUESTS:,} requests; read {len(payload):,}.")
    return len(payload)


def estimate_batch(job: Job, lease: Hold) -> dict[str, Any]:
    """Store a run for each request, skipping those stored before; today is the day the job was made.

    Returns
    -------
    dict
        `runs`: public id of each request's run, null where it was refused; `refused`: index and faults of those.
    """
    today = timezone.localdate(job.created_at)
    asked: dict[int, EstimateRequest] = {}
    refused: dict[int, list[dict[str, Any]]] = {}
    for index, text in enumerate(job.payload):
        try:
            asked[index] = _read(text)
        except RequestRefused as error:
            refused[index] = _faults(error)
    stored = services.runs_stored_already(asked.values(), today=today)
    runs: dict[int, UUID] = {
        index: public_id for index, public_id in zip(asked, stored, strict=True) if public_id is not None
    }
    lease.progress(len(runs) + len(refused))
    for index, request in asked.items():
        if index in runs:
            continue
        lease.hand_back_when_time_is_up()
        try:
            runs[index] = services.run_estimate_stored(request, today=today).public_id
        except RequestRefused as error:
            refused[index] = _faults(error)
        lease.progress(len(runs) + len(refused))
    return {
        "runs": [str(runs[index]) if index in runs else None for index in range(len(job.payload))],
        "refused": [{"index": index, "errors": refused[index]} for index in sorted(refused)],
    }


def _is_unicode(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def _read(text: str) -> EstimateRequest:
    try:
        data = orjson.loads(text)
    except orjson.JSONDecodeError as error:
        raise RequestRefused([FieldError("", "not_json", f"This is not JSON: {error.msg}.")]) from error
    return services.read_estimate(data)


def _faults(error: RequestRefused) -> list[dict[str, Any]]:
    return [{"pointer": fault.pointer, "code": fault.code, "detail": fault.detail} for fault in error.errors]
