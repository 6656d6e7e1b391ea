"""Reads of photos from fixed points."""

from __future__ import annotations

from uuid import UUID

from django.db.models import QuerySet

from projects.errors import NotFound
from projects.models import MeadowProject, OutcomeReturn, PhotoFile, ReturnPhoto
from projects.rules.access import Actor, may, visible_photos


def photo_list(actor: Actor) -> QuerySet[ReturnPhoto]:
    """Photos the actor may see, without the pictures."""
    rows = ReturnPhoto.objects.filter(visible_photos(actor))
    return rows.select_related("outcome__project__site", "outcome__group")


def photo_get(actor: Actor, public_id: UUID) -> ReturnPhoto:
    """One photo; raises NotFound."""
    row = photo_list(actor).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no photo {public_id}, or none that you may see.")
    return row


def photos_of_return(actor: Actor, outcome: OutcomeReturn) -> QuerySet[ReturnPhoto]:
    """Photos of a year's return, in the order they were taken."""
    return photo_list(actor).filter(outcome=outcome).order_by("taken_on", "pk")


def photos_of_project(actor: Actor, project: MeadowProject) -> QuerySet[ReturnPhoto]:
    """Photos of a project that the actor may see, the earliest first."""
    return photo_list(actor).filter(outcome__project=project).order_by("taken_on", "pk")


def photo_bytes(actor: Actor, public_id: UUID, size: str) -> bytes:
    """The picture in one of its sizes, as JPEG; raises NotFound."""
    photo = photo_get(actor, public_id)
    file = PhotoFile.objects.filter(photo=photo, size=size).first()
    if file is None:
        raise NotFound(f"The photo {public_id} is not kept in the size {size[:20]!r}.")
    return bytes(file.content)


def points_of(actor: Actor, project_id: int) -> list[str]:
    """Names of a project's fixed points that have photos, in the order of the first."""
    names = photo_list(actor).filter(outcome__project=project_id).order_by("pk").values_list("point", flat=True)
    return list(dict.fromkeys(names))


def may_withdraw(actor: Actor, photo: ReturnPhoto) -> bool:
    """Whether the actor may take a photo away: their own, or any for those who lead."""
    outcome = photo.outcome
    return may(
        actor, "photo.withdraw",
        group_id=outcome.group_id, network_id=outcome.network_id, owner_id=photo.created_by_id,
    )  # fmt: skip
