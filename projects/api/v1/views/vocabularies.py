from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from modelling.selectors import vocabularies
from projects.api.base import ApiView
from projects.api.v1.serializers.vocabularies import Vocabularies


class VocabulariesView(ApiView):
    """Lists the words a request may use."""

    @extend_schema(
        operation_id="vocabularies",
        summary="The words a request may use, with their labels",
        tags=["reference"],
        responses={200: Vocabularies},
    )
    def get(self, request: Request) -> Response:
        self.read_query(request)
        return Response(vocabularies())
