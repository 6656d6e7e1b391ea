"""Donor meadows, what was agreed about them, and harvests."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects import choices
from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, IF_MATCH_MAYBE, NounView, once, tagged
from projects.api.tags import version_asked
from projects.api.v1.answers import donors as answers
from projects.api.v1.views.sites import PAGE
from projects.contracts.donors import AgreementEnd, AgreementNew, DonorChange, DonorNew, HarvestNew
from projects.selectors import donors as reads
from projects.services import donors as acts
from projects.services import harvests

FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "habitat": Filter("habitat", words=tuple(choices.DonorHabitat.values), about="Sort of grassland."),
}
HARVEST_FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "donor": Filter("donor__public_id", "id", about="Id of a donor meadow."),
    "from": Filter("on__gte", "day", about="On this day or later."),
}


class DonorsView(NounView):
    """Donor meadows."""

    @extend_schema(
        operation_id="donors_list", summary="Donor meadows of the caller's networks", tags=["seed"],
        description="Owners, and what was agreed with them, are told to coordinators alone; others see the meadows "
        "whose owners agreed to be named.",
        parameters=parameters(FILTERS), responses={200: page_model(answers.DonorAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *FILTERS, *PAGE)
        rows = narrowed(reads.donor_list(self.actor), said, FILTERS)
        return Response(
            page(request, rows, said, lambda found: [answers.donor_answer(self.actor, row) for row in found])
        )

    @extend_schema(
        operation_id="donors_create", summary="Add a donor meadow", tags=["seed"],
        parameters=[IDEMPOTENCY_KEY], request=DonorNew, responses={201: answers.DonorAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request) -> Response:
        self.must_be_signed_in()
        made = acts.donor_create(actor=self.actor, asked=self.read(request, DonorNew), now=timezone.now())
        row = reads.donor_get(self.actor, made.public_id)
        location = reverse("v1-donor", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.donor_answer(self.actor, row), status=201, location=location)


class DonorView(NounView):
    """One donor meadow."""

    @extend_schema(
        operation_id="donors_read", summary="One donor meadow", tags=["seed"], responses={200: answers.DonorAnswer}
    )
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.donor_get(self.actor, public_id)
        return tagged(row, answers.donor_answer(self.actor, row))

    @extend_schema(
        operation_id="donors_change", summary="Change a donor meadow", tags=["seed"],
        parameters=[IF_MATCH], request=DonorChange, responses={200: answers.DonorAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.donor_get(self.actor, public_id))
        asked = self.read(request, DonorChange)
        acts.donor_change(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now())
        row = reads.donor_get(self.actor, public_id)
        return tagged(row, answers.donor_answer(self.actor, row))


class AgreementsView(NounView):
    """Agreements about a donor meadow."""

    @extend_schema(
        operation_id="donors_agree", summary="Note what was agreed in writing", tags=["seed"],
        parameters=[IDEMPOTENCY_KEY], request=AgreementNew, responses={201: answers.AgreementAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        reads.donor_get(self.actor, public_id)
        asked = self.read(request, AgreementNew)
        row = acts.agreement_add(actor=self.actor, donor_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, answers.agreement_answer(row), status=201)


class AgreementEndView(NounView):
    """Ending an agreement."""

    @extend_schema(
        operation_id="agreements_end", summary="End an agreement before its time", tags=["seed"],
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=AgreementEnd, responses={200: answers.AgreementAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.agreement_get(self.actor, public_id), needed=False)
        asked = self.read(request, AgreementEnd)
        row = acts.agreement_end(
            actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now()
        )
        return tagged(row, answers.agreement_answer(row))


class HarvestsView(NounView):
    """Harvests."""

    @extend_schema(
        operation_id="harvests_list", summary="Harvests, as far as the caller may know of them", tags=["seed"],
        parameters=parameters(HARVEST_FILTERS), responses={200: page_model(answers.HarvestAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *HARVEST_FILTERS, *PAGE)
        rows = narrowed(reads.harvest_list(self.actor), said, HARVEST_FILTERS)
        return Response(page(request, rows, said, lambda found: [answers.harvest_answer(row) for row in found]))


class DonorHarvestsView(NounView):
    """Harvests of one donor meadow."""

    @extend_schema(
        operation_id="donors_harvest", summary="Note a harvest; it makes a lot of fresh seed", tags=["seed"],
        description="What speaks against it is refused with a 422, unless a coordinator gives a reason.",
        parameters=[IDEMPOTENCY_KEY], request=HarvestNew,
        responses={201: answers.HarvestAnswer, 200: answers.HarvestAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        reads.donor_get(self.actor, public_id)
        asked = self.read(request, HarvestNew)
        row, new = harvests.harvest_add(actor=self.actor, donor_id=public_id, asked=asked, now=timezone.now())
        location = reverse("v1-lot", kwargs={"public_id": row.lot.public_id}, request=request)
        return tagged(row, answers.harvest_answer(row), status=201 if new else 200, location=location if new else "")
