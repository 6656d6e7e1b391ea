"""Sites and what belongs to them."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects import choices
from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, NounView, once, tagged
from projects.api.renderers import FiniteJSONRenderer, GeoJSONRenderer
from projects.api.tags import version_asked
from projects.api.v1.answers import sites as answers
from projects.contracts.sites import (
    OtherFundingNew,
    PermissionChange,
    PermissionNew,
    SiteChange,
    SiteNew,
    SoilTestNew,
)
from projects.selectors import sites as reads
from projects.selectors.geojson import features_of
from projects.services import sites as acts

KINDS = ("churchyard", "verge", "garden", "school", "field", "orchard", "green")
SWARDS = ("bare_or_arable", "short_turf", "rank_grass", "improved_grass", "species_poor", "flower_rich")
FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "district": Filter("district__public_id", "id", about="Id of a district."),
    "group": Filter("group__public_id", "id", about="Id of a group."),
    "kind": Filter("kind", words=KINDS, about="Kind of place."),
    "publicity": Filter("publicity", words=tuple(choices.Publicity.values), about="How precisely it is shown."),
    "changed_since": Filter("updated_at__gte", "moment", about="Changed at this moment or later."),
}
PAGE = ("cursor", "limit", "order")
MOST_FEATURES = 5_000


class SitesView(NounView):
    """All sites that the caller may see."""

    @extend_schema(
        operation_id="sites_list", summary="Sites, as precisely as the caller may know", tags=["sites"],
        parameters=parameters(FILTERS), responses={200: page_model(answers.SiteAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *FILTERS, *PAGE)
        rows = narrowed(reads.site_list(self.actor), said, FILTERS).prefetch_related("zones")
        return Response(page(request, rows, said, lambda found: answers.site_answers(self.actor, found)))

    @extend_schema(
        operation_id="sites_create", summary="Register a site", tags=["sites"],
        parameters=[IDEMPOTENCY_KEY], request=SiteNew, responses={201: answers.SiteAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request) -> Response:
        self.must_be_signed_in()
        made = acts.site_create(actor=self.actor, asked=self.read(request, SiteNew), now=timezone.now())
        row = reads.site_get(self.actor, made.public_id)
        location = reverse("v1-site", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.site_answer(self.actor, row), status=201, location=location)


class SitesGeoJsonView(NounView):
    """Sites as a map reads them."""

    renderer_classes = [GeoJSONRenderer, FiniteJSONRenderer]

    @extend_schema(
        operation_id="sites_geojson", summary="Sites as GeoJSON (RFC 7946), as precisely as the caller may know",
        description="Private sites of others are left out. At most 5,000 features; narrow it by filters.",
        tags=["sites"], parameters=[item.parameter(name) for name, item in FILTERS.items()],
        responses={200: answers.FeatureCollection},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *FILTERS)
        rows = narrowed(reads.site_list(self.actor), said, FILTERS).order_by("created_at", "public_id")
        return Response(features_of(self.actor, list(rows[:MOST_FEATURES])))


class SiteView(NounView):
    """One site."""

    @extend_schema(operation_id="sites_read", summary="One site", tags=["sites"], responses={200: answers.SiteAnswer})
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.site_get(self.actor, public_id)
        return tagged(row, answers.site_answer(self.actor, row))

    @extend_schema(
        operation_id="sites_change", summary="Change a site", tags=["sites"],
        parameters=[IF_MATCH], request=SiteChange, responses={200: answers.SiteAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.site_get(self.actor, public_id))
        asked = self.read(request, SiteChange)
        acts.site_change(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now())
        row = reads.site_get(self.actor, public_id)
        return tagged(row, answers.site_answer(self.actor, row))

    @extend_schema(
        operation_id="sites_remove", summary="Remove a site that nothing was built on", tags=["sites"],
        parameters=[IF_MATCH], responses={204: None},
    )  # fmt: skip
    def delete(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.site_get(self.actor, public_id))
        acts.site_remove(actor=self.actor, public_id=public_id, if_version=version, now=timezone.now())
        return Response(status=204)


class PermissionsView(NounView):
    """Permissions of a site."""

    @extend_schema(
        operation_id="permissions_list", summary="Permissions that a site needs, and what came of them", tags=["sites"],
        parameters=parameters({}), responses={200: page_model(answers.PermissionAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.permissions_of(self.actor, reads.site_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.permission_answer(row) for row in found]))

    @extend_schema(
        operation_id="permissions_add", summary="Add a permission of the site's own", tags=["sites"],
        parameters=[IDEMPOTENCY_KEY], request=PermissionNew, responses={201: answers.PermissionAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, PermissionNew)
        row = acts.permission_add(actor=self.actor, site_id=public_id, asked=asked, now=timezone.now())
        location = reverse("v1-permission", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.permission_answer(row), status=201, location=location)


class PermissionView(NounView):
    """One permission."""

    @extend_schema(
        operation_id="permissions_read", summary="One permission", tags=["sites"],
        responses={200: answers.PermissionAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.permission_get(self.actor, public_id)
        return tagged(row, answers.permission_answer(row))

    @extend_schema(
        operation_id="permissions_change", summary="Note what came of a permission", tags=["sites"],
        parameters=[IF_MATCH], request=PermissionChange, responses={200: answers.PermissionAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.permission_get(self.actor, public_id))
        asked = self.read(request, PermissionChange)
        row = acts.permission_change(
            actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now()
        )
        return tagged(row, answers.permission_answer(row))


class SoilTestsView(NounView):
    """Soil tests of a site."""

    @extend_schema(
        operation_id="soil_tests_list", summary="Soil tests of a site", tags=["sites"],
        parameters=parameters({}), responses={200: page_model(answers.SoilTestAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.soil_tests_of(self.actor, reads.site_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.soil_test_answer(row) for row in found]))

    @extend_schema(
        operation_id="soil_tests_add", summary="Note a soil test", tags=["sites"],
        parameters=[IDEMPOTENCY_KEY], request=SoilTestNew, responses={201: answers.SoilTestAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, SoilTestNew)
        row = acts.soil_test_add(actor=self.actor, site_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, answers.soil_test_answer(row), status=201)


class SoilTestView(NounView):
    """One soil test."""

    @extend_schema(
        operation_id="soil_tests_remove", summary="Take away a soil test noted by mistake", tags=["sites"],
        parameters=[IF_MATCH], responses={204: None},
    )  # fmt: skip
    def delete(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version_asked(request, reads.soil_test_get(self.actor, public_id))
        acts.soil_test_remove(actor=self.actor, public_id=public_id, now=timezone.now())
        return Response(status=204)


class OtherFundingsView(NounView):
    """Money from elsewhere for a site's ground."""

    @extend_schema(
        operation_id="other_funding_list", summary="Money from elsewhere for the same ground", tags=["sites"],
        parameters=parameters({}), responses={200: page_model(answers.OtherFundingAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.other_funding_of(self.actor, reads.site_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.other_funding_answer(row) for row in found]))

    @extend_schema(
        operation_id="other_funding_add", summary="Note money from elsewhere", tags=["sites"],
        parameters=[IDEMPOTENCY_KEY], request=OtherFundingNew, responses={201: answers.OtherFundingAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, OtherFundingNew)
        row = acts.other_funding_add(actor=self.actor, site_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, answers.other_funding_answer(row), status=201)


class OtherFundingView(NounView):
    """One entry of money from elsewhere."""

    @extend_schema(
        operation_id="other_funding_remove", summary="Take away an entry made by mistake", tags=["sites"],
        parameters=[IF_MATCH], responses={204: None},
    )  # fmt: skip
    def delete(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version_asked(request, reads.other_funding_get(self.actor, public_id))
        acts.other_funding_remove(actor=self.actor, public_id=public_id, now=timezone.now())
        return Response(status=204)
