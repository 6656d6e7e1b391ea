"""A season's sharing in the invented county: four more donor meadows, who hopes for seed, harvests that may be made.

Nine meadows, fourteen ripe days, one harvester, twenty-three who hope, one promise held by hand; from rows of
`fixtures/demo/share_out.json`. It is left to be worked out by whoever looks at it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Protocol

from projects.contracts.base import read_as
from projects.contracts.donors import AgreementNew, DonorNew
from projects.contracts.share_outs import ShareOutNew, WishNew
from projects.models import DonorMeadow, MeadowProject, Network, Village
from projects.rules.access import Actor
from projects.services import donors, share_outs

Row = dict[str, Any]


class Story(Protocol):
    """What of the county's story is needed here."""

    network: Network
    projects: dict[str, MeadowProject]
    villages: dict[str, Village]

    def actor(self, key: str) -> Actor:
        """Somebody, by their key."""


@dataclass(frozen=True)
class Act:
    """Something somebody did one evening."""

    on: date
    do: Callable[[datetime], object]


def acts(story: Story, tables: Mapping[str, Any], coordinator: str) -> Iterator[Act]:
    """Everything that was done about the season's seed, in the order it is to be done on one evening."""
    for row in tables["donors"]:
        yield Act(date.fromisoformat(row["agreement"]["signed_on"]), _donor(story, row, coordinator))
    for row in tables["wishes"]:
        yield Act(date.fromisoformat(row["on"]), _wish(story, row, tables["season"]["year"], coordinator))
    yield Act(date.fromisoformat(tables["season"]["on"]), _season(story, tables["season"], coordinator))


def _donor(story: Story, row: Row, by: str) -> Callable[[datetime], None]:
    def do(now: datetime) -> None:
        said = {
            "network_id": str(story.network.public_id), "name": row["name"], "habitat": row["habitat"],
            "area_m2": row["area_m2"], "village_id": str(story.villages[row["village"]].public_id),
        }  # fmt: skip
        donor = donors.donor_create(actor=story.actor(by), asked=read_as(DonorNew, said), now=now)
        agreed = read_as(AgreementNew, row["agreement"])
        donors.agreement_add(actor=story.actor(by), donor_id=donor.public_id, asked=agreed, now=now)

    return do


def _wish(story: Story, row: Row, year: int, by: str) -> Callable[[datetime], None]:
    def do(now: datetime) -> None:
        said = {
            "project_id": str(story.projects[row["project"]].public_id), "year": year, "target_g": row["target_g"],
            "least_g": row["least_g"],
        }  # fmt: skip
        share_outs.wish_make(actor=story.actor(by), asked=read_as(WishNew, said), now=now)

    return do


def _season(story: Story, row: Row, by: str) -> Callable[[datetime], None]:
    def do(now: datetime) -> None:
        ids = {
            name: str(key)
            for name, key in DonorMeadow.objects.filter(network=story.network).values_list("name", "public_id")
        }
        settings = {
            "harvests": [_without(one, "donor") | {"donor_id": ids[one["donor"]]} for one in row["harvests"]],
            "held": [
                {
                    "source_id": ids[one["source"]], "project_id": str(story.projects[one["project"]].public_id),
                    "how": one["how"], "grams": one["grams"],
                }
                for one in row["held"]
            ],
        }  # fmt: skip
        said = {"network_id": str(story.network.public_id), "year": row["year"], "name": row["name"]}
        asked = read_as(ShareOutNew, said | {"settings": settings})
        share_outs.share_out_create(actor=story.actor(by), asked=asked, now=now)

    return do


def _without(row: Row, key: str) -> Row:
    return {name: value for name, value in row.items() if name != key}
