"""A county's records for everybody: what there is, in which formats, under which licence."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from projects.choices import LICENCES, Licence
from projects.dashboard.pages.records import OpenRecordsPage
from projects.dashboard.views.county import OfNetwork
from projects.rules.access import demand
from projects.selectors import records as reads


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
        context = {
            "network": network,
            "page": page,
            "licence": licence,
            "licence_address": LICENCES[licence],
            "sets_up": self.may("network.change"),
        }
        return self.show(request, context)
