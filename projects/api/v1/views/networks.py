"""Networks, their districts and villages, groups, and the people in them."""

from typing import Any
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, NounView, once, tagged
from projects.api.tags import version_asked
from projects.api.v1.answers import networks as answers
from projects.api.v1.answers.meadows import JobAnswer, job_answer
from projects.contracts.networks import (
    DistrictNew,
    GroupChange,
    GroupNew,
    MembershipChange,
    NetworkChange,
    NetworkNew,
    VillageNew,
)
from projects.models import Group, Network
from projects.selectors import networks as reads
from projects.services import meadows
from projects.services import networks as acts

GROUP_FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "district": Filter("district__public_id", "id", about="Id of a district."),
}


def job_accepted(request: Request, job: Any) -> Response:
    """Return the 202 of work that is done after the answer."""
    location = reverse("v1-job", kwargs={"public_id": job.public_id}, request=request)
    return Response(job_answer(job), status=202, headers={"Location": location})


class NetworksView(NounView):
    """All networks."""

    @extend_schema(
        operation_id="networks_list", summary="Networks, one for each county", tags=["networks"],
        parameters=parameters({}), responses={200: page_model(answers.NetworkAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, "cursor", "limit", "order")
        rows = reads.network_list(self.actor)
        return Response(page(request, rows, said, lambda found: [answers.network_answer(row) for row in found]))

    @extend_schema(
        operation_id="networks_create", summary="Set up a network", tags=["networks"],
        parameters=[IDEMPOTENCY_KEY], request=NetworkNew, responses={201: answers.NetworkAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request) -> Response:
        self.must_be_signed_in()
        row = acts.network_create(actor=self.actor, asked=self.read(request, NetworkNew), now=timezone.now())
        location = reverse("v1-network", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.network_answer(row), status=201, location=location)


class NetworkView(NounView):
    """One network."""

    @extend_schema(
        operation_id="networks_read", summary="One network", tags=["networks"], responses={200: answers.NetworkAnswer}
    )
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.network_get(self.actor, public_id)
        return tagged(row, answers.network_answer(row))

    @extend_schema(
        operation_id="networks_change", summary="Change a network", tags=["networks"],
        parameters=[IF_MATCH], request=NetworkChange, responses={200: answers.NetworkAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.network_get(self.actor, public_id))
        asked = self.read(request, NetworkChange)
        row = acts.network_change(
            actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now()
        )
        return tagged(row, answers.network_answer(row))


class DistrictsView(NounView):
    """Districts of a network."""

    @extend_schema(
        operation_id="districts_list", summary="Districts of a network", tags=["networks"],
        parameters=parameters({}), responses={200: page_model(answers.DistrictAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, "cursor", "limit", "order")
        rows = reads.districts_of(self.actor, reads.network_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.district_answer(row) for row in found]))

    @extend_schema(
        operation_id="districts_create", summary="Add a district", tags=["networks"],
        parameters=[IDEMPOTENCY_KEY], request=DistrictNew, responses={201: answers.DistrictAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, DistrictNew)
        row = acts.district_create(actor=self.actor, network_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, answers.district_answer(row), status=201)


class VillagesView(NounView):
    """Villages of a network."""

    @extend_schema(
        operation_id="villages_list", summary="Villages of a network", tags=["networks"],
        parameters=parameters({}), responses={200: page_model(answers.VillageAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, "cursor", "limit", "order")
        rows = reads.villages_of(self.actor, reads.network_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.village_answer(row) for row in found]))

    @extend_schema(
        operation_id="villages_create", summary="Add a village", tags=["networks"],
        parameters=[IDEMPOTENCY_KEY], request=VillageNew, responses={201: answers.VillageAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, VillageNew)
        row = acts.village_create(actor=self.actor, network_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, answers.village_answer(row), status=201)


class NetworkForecastsView(NounView):
    """A forecast of every project under way."""

    @extend_schema(
        operation_id="networks_forecast_all", summary="Forecast every project of a network, as a job",
        tags=["forecasts"], parameters=[IDEMPOTENCY_KEY], request=None, responses={202: JobAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        return job_accepted(
            request, meadows.network_forecast_all(actor=self.actor, network_id=public_id, now=timezone.now())
        )


class GroupsView(NounView):
    """All groups."""

    @extend_schema(
        operation_id="groups_list", summary="Groups", tags=["groups"],
        parameters=parameters(GROUP_FILTERS), responses={200: page_model(answers.GroupAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *GROUP_FILTERS, "cursor", "limit", "order")
        rows = narrowed(reads.group_list(self.actor), said, GROUP_FILTERS)
        return Response(page(request, rows, said, lambda found: [answers.group_answer(row) for row in found]))

    @extend_schema(
        operation_id="groups_create", summary="Add a group to a network", tags=["groups"],
        parameters=[IDEMPOTENCY_KEY], request=GroupNew, responses={201: answers.GroupAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request) -> Response:
        self.must_be_signed_in()
        made = acts.group_create(actor=self.actor, asked=self.read(request, GroupNew), now=timezone.now())
        row = reads.group_get(self.actor, made.public_id)
        location = reverse("v1-group", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.group_answer(row), status=201, location=location)


class GroupView(NounView):
    """One group."""

    @extend_schema(
        operation_id="groups_read", summary="One group", tags=["groups"], responses={200: answers.GroupAnswer}
    )
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.group_get(self.actor, public_id)
        return tagged(row, answers.group_answer(row))

    @extend_schema(
        operation_id="groups_change", summary="Change a group", tags=["groups"],
        parameters=[IF_MATCH], request=GroupChange, responses={200: answers.GroupAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.group_get(self.actor, public_id))
        asked = self.read(request, GroupChange)
        acts.group_change(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now())
        row = reads.group_get(self.actor, public_id)
        return tagged(row, answers.group_answer(row))


class GroupForecastsView(NounView):
    """A forecast of every project of a group."""

    @extend_schema(
        operation_id="groups_forecast_all", summary="Forecast every project of a group, as a job",
        tags=["forecasts"], parameters=[IDEMPOTENCY_KEY], request=None, responses={202: JobAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        return job_accepted(
            request, meadows.group_forecast_all(actor=self.actor, group_id=public_id, now=timezone.now())
        )


class MembersView(NounView):
    """The people of a group."""

    @extend_schema(
        operation_id="members_list", summary="People of a group, for its own people", tags=["groups"],
        parameters=parameters({}), responses={200: page_model(answers.MembershipAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, "cursor", "limit", "order")
        rows = reads.members_of(self.actor, reads.group_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.membership_answer(row) for row in found]))


class MembershipView(NounView):
    """Somebody's place in a group."""

    def _version(self, request: Request, public_id: UUID) -> int | None:
        self.must_be_signed_in()
        return version_asked(request, reads.membership_get(self.actor, public_id))

    @extend_schema(
        operation_id="memberships_change", summary="Make a member a lead, or a lead a member", tags=["groups"],
        parameters=[IF_MATCH], request=MembershipChange, responses={200: answers.MembershipAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        version = self._version(request, public_id)
        role = self.read(request, MembershipChange).role
        row = acts.membership_change(
            actor=self.actor, public_id=public_id, role=role, if_version=version, now=timezone.now()
        )
        return tagged(row, answers.membership_answer(reads.membership_get(self.actor, row.public_id)))

    @extend_schema(
        operation_id="memberships_end", summary="Leave a group, or let somebody go", tags=["groups"],
        parameters=[IF_MATCH], responses={204: None},
    )  # fmt: skip
    def delete(self, request: Request, public_id: UUID) -> Response:
        self._version(request, public_id)
        acts.membership_end(actor=self.actor, public_id=public_id, now=timezone.now())
        return Response(status=204)


class MeView(NounView):
    """The caller."""

    @extend_schema(
        operation_id="me", summary="Who the token speaks for", tags=["about"], responses={200: answers.MeAnswer}
    )
    def get(self, request: Request) -> Response:
        self.read_query(request)
        self.must_be_signed_in()
        actor = self.actor
        groups = {row.pk: row for row in Group.objects.filter(pk__in=list(actor.groups))}
        networks = {row.pk: row for row in Network.objects.filter(pk__in=list(actor.networks))}
        found = answers.MeAnswer(
            name=str(request.user),
            scopes=sorted(actor.scopes),
            groups=[
                answers.RoleAnswer(id=groups[pk].public_id, name=groups[pk].name, roles=[role])
                for pk, role in sorted(actor.groups.items())
            ],
            networks=[
                answers.RoleAnswer(id=networks[pk].public_id, name=networks[pk].name, roles=sorted(roles))
                for pk, roles in sorted(actor.networks.items())
            ],
            operator=actor.is_operator,
        )
        return Response(found.model_dump(mode="json"))
