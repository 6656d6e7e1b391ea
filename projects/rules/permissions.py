"""Which permissions a site calls for, and what stands in the way of starting."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from modelling.selectors import permissions_of_kind
from projects.choices import Need, PermissionState

#: an end so near is told beforehand; common practice
SOON: Final = timedelta(days=60)


@dataclass(frozen=True)
class Held:
    """What matters of one permission."""

    label: str
    need: str
    state: str
    expires_on: date | None


def called_for(kind: str) -> list[str]:
    """Keys of the permissions that a kind of place calls for, those for any place last."""
    return [row["key"] for row in permissions_of_kind(kind)]


def obstacles(permissions: Iterable[Held], on: date) -> list[str]:
    """Return what keeps work from starting on a day, a sentence each; empty if nothing does.

    A permission nobody has looked into counts as missing. None of this touches a forecast.
    """
    found = []
    for held in permissions:
        if held.need == Need.NOT_NEEDED:
            continue
        if held.state == PermissionState.GIVEN:
            if held.expires_on is not None and held.expires_on < on:
                found.append(f"{held.label}: ran out on {held.expires_on:%-d %B %Y}.")
        elif held.state == PermissionState.REFUSED:
            found.append(f"{held.label}: refused.")
        elif held.state == PermissionState.ASKED:
            found.append(f"{held.label}: asked, no answer yet.")
        elif held.need == Need.UNKNOWN:
            found.append(f"{held.label}: find out whether it is needed.")
        else:
            found.append(f"{held.label}: needed, not asked yet.")
    return found
