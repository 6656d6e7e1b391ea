"""Blends of seed for a project."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from modelling.contracts.blends import BlendAnswer, BlendWanted
from projects.api.nouns import NounView
from projects.selectors import meadows as meadow_reads
from projects.selectors.blends import blend_for


class SeedBlendView(NounView):
    """The best blend for a project."""

    computes = True

    @extend_schema(
        operation_id="projects_seed_blend", summary="The cheapest blend of seed for a project's ground", tags=["seed"],
        description="From dry lots of the network that are not on hold, and from mixes and kinds that may be bought in "
        "whole packs. Kinds that do not suit the ground count for nothing, apart from grass. Where no blend meets all "
        "targets, the nearest is given with what it misses. Nothing is promised by asking; `seed` goes into a plan.",
        request=BlendWanted, responses={200: BlendAnswer},
    )  # fmt: skip
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        project = meadow_reads.project_get(self.actor, public_id)
        asked = self.read(request, BlendWanted)
        return Response(blend_for(self.actor, project, asked, timezone.localdate()))
