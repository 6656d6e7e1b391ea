"""Version tags: an answer carries one, and a change says which version it was made to (RFC 9110, If-Match)."""

import re

from rest_framework.request import Request

from projects.api.errors import Problem
from projects.models.base import Noun

_TAG = re.compile(r'\s*(W/)?"([^"]*)"\s*')


def tag_of(row: Noun) -> str:
    """Return the strong tag of a row as it is."""
    return f'"{row.public_id.hex[:12]}.{row.version}"'


def version_asked(request: Request, row: Noun, *, needed: bool = True) -> int | None:
    """Return the version that a change says it was made to, None for any.

    Raises
    ------
    Problem
        428 if nothing is said where it must be, 412 if it is another version, 400 if it cannot be read.
    """
    said = request.headers.get("If-Match", "").strip()
    if not said:
        if needed:
            raise Problem(
                "precondition_required",
                "Send the header If-Match with the ETag of the version you saw, so that nobody's change is lost.",
            )
        return None
    if said == "*":
        return None
    tags = [_TAG.fullmatch(part) for part in said.split(",")]
    if not all(tags):
        raise Problem(
            "bad_request", f"If-Match is {said[:80]!r}; it should be an ETag in quotes, such as {tag_of(row)}."
        )
    current = tag_of(row).strip('"')
    if any(tag is not None and not tag[1] and tag[2] == current for tag in tags):
        return row.version
    raise Problem(
        "stale",
        f"If-Match is {said[:80]}; the version there is now has the ETag {tag_of(row)}. "
        "Read it again and make your change to that.",
        headers={"ETag": tag_of(row)},
    )
