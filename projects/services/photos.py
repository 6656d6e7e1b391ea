"""Photos from a fixed point: taken in once each, made anew, and gone for good when consent is withdrawn."""

from __future__ import annotations

import hashlib
from datetime import date, datetime
from typing import Final
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from projects import pictures
from projects.choices import PhotoSize
from projects.contracts.photos import PhotoNew
from projects.errors import broken
from projects.models import OutcomeReturn, PhotoFile, ReturnPhoto
from projects.rules.access import Actor, demand, visible_inner, visible_photos
from projects.selectors.photos import points_of
from projects.services.audit import record
from projects.services.base import found, save_new, unchanged_since

MOST_PHOTOS: Final = 12


def photo_add(
    *, actor: Actor, return_id: UUID, asked: PhotoNew, content: bytes, now: datetime
) -> tuple[ReturnPhoto, bool]:
    """Add a photo to a year's return; the same file sent again gives the photo there is.

    Returns
    -------
    tuple
        The photo, and whether it is new.

    Raises
    ------
    RuleBroken
        If the file is not a photo that can be read, the day is not of the return's year, or there are enough.
    """
    checksum = hashlib.sha256(content).hexdigest()
    outcome, there = _place(actor, return_id, asked, checksum, timezone.localdate(now))
    if there is not None:
        return there, False
    # while no row is held: it takes a moment
    made = pictures.remade(content)
    with transaction.atomic():
        outcome, there = _place(actor, return_id, asked, checksum, timezone.localdate(now), hold=True)
        if there is not None:
            return there, False
        row = save_new(
            ReturnPhoto(
                outcome=outcome,
                taken_on=asked.taken_on,
                point=_as_before(actor, outcome, asked.point),
                caption=asked.caption,
                agreed=asked.agreed,
                shown=asked.shown,
                checksum=checksum,
                width_px=made.width_px,
                height_px=made.height_px,
                created_by_id=actor.user_id,
                created_at=now,
                updated_at=now,
            )
        )
        for size, picture in ((PhotoSize.LARGE, made.large), (PhotoSize.SMALL, made.small)):
            PhotoFile(photo=row, size=size, content=picture).save()
        # no words of it: a caption may name somebody, and the entry outlasts the photo
        record(
            actor, now, "photo_add", "photo", row.public_id, network=outcome.network_id, group=outcome.group_id,
            after={"return": str(outcome.public_id), "year": outcome.year, "agreed": True, "shown": row.shown},
        )  # fmt: skip
    return row, True


def _place(
    actor: Actor, return_id: UUID, asked: PhotoNew, checksum: str, today: date, *, hold: bool = False
) -> tuple[OutcomeReturn, ReturnPhoto | None]:
    """The return that a photo goes to, and the photo if it is there already; raises what speaks against it."""
    outcome = found(OutcomeReturn, visible_inner(actor), return_id, "return", hold=hold)
    demand(actor, "photo.send", group_id=outcome.group_id, network_id=outcome.network_id)
    there = outcome.photos.filter(checksum=checksum).first()
    if there is None:
        _fits(outcome, asked, today)
    return outcome, there


def _fits(outcome: OutcomeReturn, asked: PhotoNew, today: date) -> None:
    on = asked.taken_on
    if on > today:
        raise broken(
            "/taken_on", "in_future", f"{on.isoformat()} is still to come.", on.isoformat(), "a day up to today"
        )
    if on.year != outcome.year:
        raise broken(
            "/taken_on", "other_year", f"{on.isoformat()} is not in {outcome.year}, the year of this return.",
            on.isoformat(), f"a day in {outcome.year}",
        )  # fmt: skip
    if outcome.photos.count() >= MOST_PHOTOS:
        raise broken(
            pictures.POINTER, "too_many", f"This return has {MOST_PHOTOS} photos, as many as it can have.", None,
            "one photo from each fixed point",
        )  # fmt: skip


def _as_before(actor: Actor, outcome: OutcomeReturn, point: str) -> str:
    """The name of a fixed point as it was written in earlier years, where it differs in blanks and capitals only."""
    folded = " ".join(point.casefold().split())
    return next(
        (known for known in points_of(actor, outcome.project_id) if " ".join(known.casefold().split()) == folded), point
    )


def photo_withdraw(*, actor: Actor, public_id: UUID, if_version: int | None, now: datetime) -> None:
    """Take a photo away for good, because somebody no longer agrees or it was sent by mistake."""
    with transaction.atomic():
        row = found(ReturnPhoto, visible_photos(actor), public_id, "photo", hold=True, with_=("outcome",))
        outcome = row.outcome
        demand(
            actor, "photo.withdraw",
            group_id=outcome.group_id, network_id=outcome.network_id, owner_id=row.created_by_id,
        )  # fmt: skip
        unchanged_since(row, if_version)
        row.delete()
        record(
            actor, now, "photo_withdraw", "photo", public_id, network=outcome.network_id, group=outcome.group_id,
            before={"return": str(outcome.public_id), "year": outcome.year},
        )  # fmt: skip
