"""What is done by the clock: whatever is kept for a while only is forgotten when its time is over.

A noun whose rows end by themselves adds its service to FORGETTING; a check that runs by the clock belongs here too.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Final

from projects.services import exports, invitations, remembered, tries, uploads

#: each is given `now`, returns how many rows it let go of, and stands alone: one that fails holds up no other
FORGETTING: Final[tuple[Callable[..., int], ...]] = (
    uploads.uploads_forget,
    exports.exports_forget,
    remembered.answers_forget,
    tries.tries_forget,
    invitations.invitations_forget_expired,
)


def what_is_over_forget(*, now: datetime) -> dict[str, int]:
    """Forget all that was kept for a while only; how many rows, by the service that did it.

    Raises
    ------
    Exception
        The first that one of them raised, once all had their turn.
    """
    gone: dict[str, int] = {}
    failed: list[Exception] = []
    for forget in FORGETTING:
        try:
            gone[forget.__name__] = forget(now=now)
        except Exception as error:
            failed.append(error)
    if failed:
        raise failed[0]
    return gone
