"""What is let out: JSON of finite numbers only, and pictures as nothing but pictures."""

import math
from decimal import Decimal
from typing import Any
from uuid import UUID

import orjson
from django.http import HttpResponse
from rest_framework.renderers import BaseRenderer

from projects.pictures import MEDIA_TYPE


class FiniteJSONRenderer(BaseRenderer):
    """Writes JSON with orjson, and fails rather than let a missing number pass as null."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        """Return the answer's bytes.

        Raises
        ------
        ValueError
            If any number in it is not finite: orjson would write null.
        """
        if data is None:
            return b""
        require_finite(data)
        return orjson.dumps(data, default=_decimal)


def require_finite(data: Any) -> None:
    """Raise ValueError if any float or Decimal in nested dicts, lists and tuples is NaN or infinite."""
    waiting = [data]
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict):
            waiting.extend(value.values())
        elif isinstance(value, list | tuple):
            waiting.extend(value)
        elif isinstance(value, float | Decimal) and not math.isfinite(value):
            raise ValueError(f"An answer holds {value}, which is no number to give anybody.")


def _decimal(value: Any) -> float:
    if isinstance(value, Decimal):
        return float(value)
    raise TypeError(f"{type(value).__name__} has no JSON form here.")


class GeoJSONRenderer(FiniteJSONRenderer):
    """The same for maps."""

    media_type = "application/geo+json"
    format = "geojson"


class JpegRenderer(BaseRenderer):
    """Says that an address answers with a JPEG; the view gives its bytes itself."""

    media_type = MEDIA_TYPE
    format = "jpeg"
    charset = None
    render_style = "binary"

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        """Return what is bytes already."""
        return bytes(data)


class FileRenderer(BaseRenderer):
    """Lets the Accept header name whatever it likes where a view answers with a file; the view gives its bytes."""

    media_type = "*/*"
    format = "file"
    charset = None
    render_style = "binary"

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        """Return the answer that stands instead of a file, such as of a job that makes it; that is JSON."""
        return FiniteJSONRenderer().render(data)


def picture(content: bytes, public_id: UUID) -> HttpResponse:
    """Return a picture as what it is and nothing else; consent may be withdrawn, so nobody keeps it."""
    return HttpResponse(
        content,
        content_type=MEDIA_TYPE,
        headers={
            "Content-Disposition": f'inline; filename="{public_id}.jpg"',
            "Content-Security-Policy": "default-src 'none'; sandbox",
            "Cross-Origin-Resource-Policy": "same-origin",
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "no-store",
        },
    )
