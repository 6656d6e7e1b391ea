"""The description of the API (OpenAPI 3.1), generated from the views."""

from typing import Any

from drf_spectacular.renderers import (
    OpenApiJsonRenderer,
    OpenApiJsonRenderer2,
    OpenApiYamlRenderer,
    OpenApiYamlRenderer2,
)
from drf_spectacular.views import SpectacularAPIView

from projects.api.errors import KINDS, MEDIA_TYPE

_FIELD_PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "One thing wrong in a request.",
    "properties": {
        "pointer": {
            "type": "string",
            "description": "JSON Pointer (RFC 6901) into the body; empty for all of it.",
        },
        "code": {"type": "string", "description": "Stable, lower_snake."},
        "detail": {"type": "string", "description": "What was read, what is wrong, what would be right."},
        "value": {"description": "What was read."},
        "expected": {"description": "What would be right."},
        "suggestions": {
            "type": "array",
            "items": {"type": "string"},
            "description": "Nearest right words, best first.",
        },
    },
    "required": ["pointer", "code", "detail"],
}
_PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "Problem details (RFC 9457): every error of the API.",
    "properties": {
        "type": {
            "type": "string",
            "format": "uri-reference",
            "description": "Address that explains this kind.",
        },
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "code": {
            "type": "string",
            "enum": sorted(KINDS),
            "description": "Stable; later versions may add some.",
        },
        "detail": {"type": "string"},
        "errors": {"type": "array", "items": {"$ref": "#/components/schemas/FieldProblem"}},
    },
    "required": ["type", "title", "status", "code", "detail", "errors"],
}


def add_problems(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Give every operation the one answer that any error has."""
    schemas = result.setdefault("components", {}).setdefault("schemas", {})
    schemas["FieldProblem"] = _FIELD_PROBLEM
    schemas["Problem"] = _PROBLEM
    for operations in result["paths"].values():
        for operation in operations.values():
            operation["responses"]["default"] = {
                "description": "Any error.",
                "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
            }
    return result


class SchemaView(SpectacularAPIView):
    """The description in JSON, or in YAML if the Accept header asks for it."""

    http_method_names = ["get", "head"]
    renderer_classes = [OpenApiJsonRenderer2, OpenApiJsonRenderer, OpenApiYamlRenderer2, OpenApiYamlRenderer]


class SchemaYamlView(SpectacularAPIView):
    """The description in YAML, at an address that can be saved as a file."""

    http_method_names = ["get", "head"]
    renderer_classes = [OpenApiYamlRenderer2, OpenApiYamlRenderer]
