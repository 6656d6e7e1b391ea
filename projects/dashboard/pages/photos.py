"""Photos from fixed points in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from projects.dashboard import words
from projects.models import ReturnPhoto
from projects.pictures import SMALL_SIDE


@dataclass(frozen=True)
class PhotoLine:
    """A photo as a figure."""

    photo: ReturnPhoto
    may_withdraw: bool = False

    @property
    def when(self) -> str:
        return words.day(self.photo.taken_on)

    @property
    def address(self) -> str:
        return f"/photos/{self.photo.public_id}/"

    @property
    def small_width(self) -> int:
        """Pixels across in the small size."""
        width, height = self.photo.width_px, self.photo.height_px
        return round(width * min(1.0, SMALL_SIDE / max(width, height)))


class PhotosPage:
    """A project's photos: each fixed point with its years one below the other."""

    def __init__(self, lines: Iterable[PhotoLine]) -> None:
        self.points: dict[str, list[PhotoLine]] = {}
        for line in lines:
            self.points.setdefault(line.photo.point, []).append(line)

    @property
    def sentence(self) -> str:
        """How many photos there are, from how many places, of which years."""
        lines = [line for found in self.points.values() for line in found]
        if not lines:
            return "There are no photos yet."
        years = sorted({line.photo.taken_on.year for line in lines})
        when = (
            f"of {years[0]}" if len(years) == 1 else f"of {words.counted(len(years))} years, {years[0]} to {years[-1]}"
        )
        places = f"{words.counted(len(self.points))} fixed {words.plural(len(self.points), 'point', 'points')}"
        many = f"{words.counted(len(lines))} {words.plural(len(lines), 'photo', 'photos')}"
        return f"{words.opened(many)} from {places}, {when}."
