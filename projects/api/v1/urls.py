from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects.api.base import ApiView
from projects.api.docs import DocsView
from projects.api.schema import SchemaView, SchemaYamlView


class IndexView(ApiView):
    """Names the addresses of this version."""

    @extend_schema(
        operation_id="index",
        summary="What this version offers",
        responses={200: {"type": "object", "additionalProperties": {"type": "string", "format": "uri"}}},
    )
    def get(self, request: Request) -> Response:
        return Response({name: reverse(f"v1-{name}", request=request) for name in ENDPOINTS})


# What the index names; each is the name of an address below, after "v1-".
ENDPOINTS = ["schema", "docs"]

urlpatterns = [
    path("", IndexView.as_view(), name="v1-index"),
    path("schema/", SchemaView.as_view(), name="v1-schema"),
    path("schema/openapi.yaml", SchemaYamlView.as_view(), name="v1-schema-yaml"),
    path("docs/", DocsView.as_view(), name="v1-docs"),
]
