"""The record of who did what, for leads and coordinators."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import NounView
from projects.api.v1.answers.audit import AuditAnswer, audit_answer
from projects.selectors.audit import audit_list

FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "group": Filter("group__public_id", "id", about="Id of a group."),
    "object": Filter("object_id", "id", about="Id of the thing acted on."),
    "since": Filter("at__gte", "moment", about="Done at this moment or later."),
}


class AuditView(NounView):
    """Acts in the caller's groups and networks."""

    @extend_schema(
        operation_id="audit_list", summary="Who did what, for leads and coordinators", tags=["audit"],
        parameters=parameters(FILTERS), responses={200: page_model(AuditAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *FILTERS, "cursor", "limit", "order")
        self.must_be_signed_in()
        rows = narrowed(audit_list(self.actor), said, FILTERS)
        return Response(page(request, rows, said, lambda found: [audit_answer(row) for row in found], key=("at", "pk")))
