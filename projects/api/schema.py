"""The description of the API (OpenAPI 3.1), generated from the views."""

from typing import Any

from drf_spectacular.contrib.pydantic import PydanticExtension
from drf_spectacular.plumbing import ResolvedComponent
from drf_spectacular.renderers import (
    OpenApiJsonRenderer,
    OpenApiJsonRenderer2,
    OpenApiYamlRenderer,
    OpenApiYamlRenderer2,
)
from drf_spectacular.views import SpectacularAPIView
from pydantic.json_schema import GenerateJsonSchema

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
        "parameter": {
            "type": "string",
            "description": "Name after the question mark of the address, where that is what is wrong.",
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


_REF = "#/components/schemas/{model}"
#: what is charged by its cost though it is read
CHARGED = "/api/v1/aggregates/"
#: tags of what belongs to somebody
NOUNS = frozenset(
    {"networks", "groups", "sites", "projects", "forecasts", "diary", "returns", "uploads", "jobs", "audit"}
    | {"rounds", "bids", "awards", "aggregates", "exports", "snapshots"}
)


class PlainJsonSchema(GenerateJsonSchema):
    """JSON Schema without titles that only repeat the names."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False


class ContractExtension(PydanticExtension):
    """Describes contracts as the border reads and writes them: requests by what is let in."""

    priority = 1

    def map_serializer(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        mode = "validation" if direction == "request" else "serialization"
        schema: dict[str, Any] = self.target.model_json_schema(
            ref_template=_REF, schema_generator=PlainJsonSchema, mode=mode
        )
        for name, part in schema.pop("$defs", {}).items():
            component = ResolvedComponent(name=name, type=ResolvedComponent.SCHEMA, object=name, schema=_tidy(part))
            auto_schema.registry.register_on_missing(component)
        return _tidy(schema)


def _tidy(schema: Any) -> Any:
    """Return the schema without its title, which repeats its name, and with limits of dates in words."""
    if isinstance(schema, list):
        return [_tidy(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    found = {key: _tidy(value) for key, value in schema.items()}
    if isinstance(found.get("title"), str):
        del found["title"]
    if schema.get("format") == "date" and "ge" in schema:
        # JSON Schema has no such words for dates.
        found["description"] = f"From {found.pop('ge')} to {found.pop('le')}."
    return found


def add_problems(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Give every operation the errors it can answer with, by status, and the one shape that all have."""
    components = result.setdefault("components", {})
    schemas = components.setdefault("schemas", {})
    schemas["FieldProblem"] = _FIELD_PROBLEM
    schemas["Problem"] = _PROBLEM
    used = set()
    for path, operations in result["paths"].items():
        for method, operation in operations.items():
            if "requestBody" in operation:
                # where everything may be left out, {} is still to be sent
                operation["requestBody"]["required"] = True
            statuses = _statuses(path, method, operation)
            for status in sorted(statuses):
                operation["responses"][str(status)] = {"$ref": f"#/components/responses/Problem{status}"}
            operation["responses"]["default"] = _response("Any other error.")
            used |= statuses
    components["responses"] = {f"Problem{status}": _response(_meaning(status)) for status in sorted(used)}
    return result


def _statuses(path: str, method: str, operation: dict[str, Any]) -> set[int]:
    """Return the statuses of the errors that an operation can answer with."""
    statuses = {400, 401, 406, 422}
    if "{" in path:
        statuses.add(404)
    if method in {"post", "patch"}:
        statuses |= {413, 415}
    if not NOUNS.isdisjoint(operation["tags"]):
        # what may be seen may still not be done
        statuses |= {403, 404} | ({409} if method != "get" else set())
    elif method == "post":
        statuses.add(429)
    if path == CHARGED:
        statuses.add(429)
    named = {parameter["name"]: parameter.get("required", False) for parameter in operation.get("parameters", ())}
    if "Range" in named:
        statuses |= {409, 410, 416}
    if "If-Match" in named:
        statuses |= {412, 428} if named["If-Match"] else {412}
    return statuses


def _response(description: str) -> dict[str, Any]:
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {"description": description, "content": content}


def _meaning(status: int) -> str:
    """Return what each code of a status means, as Markdown."""
    return "\n".join(f"- `{code}`: {kind.meaning}" for code, kind in KINDS.items() if kind.status == status)


class SchemaView(SpectacularAPIView):
    """The description in JSON, or in YAML if the Accept header asks for it."""

    http_method_names = ["get", "head"]
    renderer_classes = [OpenApiJsonRenderer2, OpenApiJsonRenderer, OpenApiYamlRenderer2, OpenApiYamlRenderer]


class SchemaYamlView(SpectacularAPIView):
    """The description in YAML, at an address that can be saved as a file."""

    http_method_names = ["get", "head"]
    renderer_classes = [OpenApiYamlRenderer2, OpenApiYamlRenderer]
