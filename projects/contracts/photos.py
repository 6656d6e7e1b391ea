"""Requests about photos from a fixed point."""

from __future__ import annotations

from typing import Annotated, Final

from pydantic import AfterValidator, Field

from projects.contracts.base import Day, Name, Phrase, Strict, refused

CONSENT: Final = "No person who has not agreed can be recognised; children only with their parents’ written consent."


def _agreed(value: bool) -> bool:
    if not value:
        raise refused("not_agreed", f"A photo is taken only where this holds: {CONSENT}", "true, if it holds")
    return value


class PhotoNew(Strict):
    """What is said of a photo, which comes beside it as the file `photo`."""

    taken_on: Day
    """A day in the return's year."""
    point: Name
    """The fixed point and the way it looks, the same words every year: by the gate, looking north."""
    caption: Phrase
    """What is to be seen, for those who cannot see it too."""
    agreed: Annotated[bool, AfterValidator(_agreed), Field(validate_default=True)] = False
    """That no person who has not agreed can be recognised; children only with their parents' written consent."""
    shown: bool = False
    """Whether everybody may see it, as long as the site is shown too."""
