"""Photos from fixed points."""

from datetime import date
from typing import Any
from uuid import UUID

from projects.api.v1.answers.base import Named, NounAnswer, named, noun
from projects.models import ReturnPhoto


class PhotoAnswer(NounAnswer):
    """A photo; the picture itself is at its address with `image/` added."""

    project: Named
    return_id: UUID
    year: int
    taken_on: date
    point: str
    """The fixed point and the way it looks."""
    caption: str
    shown: bool
    """Whether it was agreed that everybody may see it, as long as the site is shown."""
    width_px: int
    height_px: int


def photo_answer(row: ReturnPhoto) -> dict[str, Any]:
    found = PhotoAnswer(
        **noun(row),
        project=named(row.outcome.project),
        return_id=row.outcome.public_id,
        year=row.outcome.year,
        taken_on=row.taken_on,
        point=row.point,
        caption=row.caption,
        shown=row.shown,
        width_px=row.width_px,
        height_px=row.height_px,
    )
    return found.model_dump(mode="json")
