"""What every page knows about who looks at it."""

from typing import Any

from django.http import HttpRequest


def visitor(request: HttpRequest) -> dict[str, Any]:
    """Return the person signed in, if any, without asking the database when nobody can be."""
    user = getattr(request, "user", None)
    return {"visitor": user if user is not None and user.is_authenticated else None}
