"""A county's records for everybody: what there is, in which formats, under which licence."""

from __future__ import annotations

from typing import Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from projects.api.v1.answers.exports import snapshot_answer
from projects.choices import LICENCES, Licence
from projects.dashboard.doors import Door
from projects.dashboard.pages.records import OpenRecordsPage, SnapshotPage
from projects.dashboard.views.county import OfNetwork
from projects.rules.access import demand
from projects.selectors import records as reads
from projects.selectors.exports import snapshot_get, snapshot_list

#: snapshots listed on the page; the API has all
MOST_SNAPSHOTS: Final = 30


class OpenRecordsView(OfNetwork):
    """What anybody may take along."""

    template_name = "county/open_records.html"

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        demand(self.actor, "record.read")
        network = self.network
        versions = reads.open_versions(network)
        page = OpenRecordsPage(
            network.name, versions.count(), reads.records_in(versions), list(reads.shielded_taxa(network))
        )
        licence = Licence(network.licence)
        snapshots = snapshot_list(self.actor).filter(network=network).order_by("-created_at")
        context = {
            "network": network,
            "page": page,
            "licence": licence,
            "snapshots": snapshots[:MOST_SNAPSHOTS],
            "licence_address": LICENCES[licence],
            "sets_up": self.may("network.change"),
        }
        return self.show(request, context)


class SnapshotView(Door):
    """A snapshot, its files and their checksums, and what is no longer shown of it."""

    template_name = "county/snapshot.html"

    def get(self, request: HttpRequest, snapshot_id: UUID) -> HttpResponse:
        demand(self.actor, "snapshot.read")
        row = snapshot_get(self.actor, snapshot_id)
        address = request.build_absolute_uri("/api/v1/")
        page = SnapshotPage(row, snapshot_answer(row, address, whole=True))
        return self.show(request, {"row": row, "page": page})
