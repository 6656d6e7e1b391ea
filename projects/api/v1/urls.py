from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects.api.base import ApiView
from projects.api.docs import DocsView
from projects.api.schema import SchemaView, SchemaYamlView
from projects.api.v1.views.estimates import ComparisonsView, EstimatesView
from projects.api.v1.views.reference import ModelCardView, ReferenceIndexView, ReferenceTableView, SourcesView
from projects.api.v1.views.vocabularies import VocabulariesView


class IndexView(ApiView):
    """Names the addresses of this version."""

    @extend_schema(
        operation_id="index",
        summary="What this version offers",
        tags=["about"],
        responses={200: {"type": "object", "additionalProperties": {"type": "string", "format": "uri"}}},
    )
    def get(self, request: Request) -> Response:
        self.read_query(request)
        return Response({name: reverse(f"v1-{name}", request=request) for name in ENDPOINTS})


# What the index names; each is the name of an address below, after "v1-".
ENDPOINTS = ["estimates", "comparisons", "vocabularies", "reference", "schema", "docs"]

urlpatterns = [
    path("", IndexView.as_view(), name="v1-index"),
    path("estimates/", EstimatesView.as_view(), name="v1-estimates"),
    path("comparisons/", ComparisonsView.as_view(), name="v1-comparisons"),
    path("vocabularies/", VocabulariesView.as_view(), name="v1-vocabularies"),
    path("reference/", ReferenceIndexView.as_view(), name="v1-reference"),
    path("reference/sources/", SourcesView.as_view(), name="v1-reference-sources"),
    path("reference/model-card/", ModelCardView.as_view(), name="v1-reference-model-card"),
    path("reference/<str:table>/", ReferenceTableView.as_view(), name="v1-reference-table"),
    path("schema/", SchemaView.as_view(), name="v1-schema"),
    path("schema/openapi.yaml", SchemaYamlView.as_view(), name="v1-schema-yaml"),
    path("docs/", DocsView.as_view(), name="v1-docs"),
]
