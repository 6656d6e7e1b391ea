"""Records in open formats: of one return for its own people, of a network for everybody."""

from typing import Any
from uuid import UUID

from django.http import FileResponse, HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from projects.api.base import query_problem
from projects.api.files import darwin_core, records_csv
from projects.api.lists import Filter, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, NounView, once, tagged
from projects.api.renderers import FileRenderer
from projects.api.tags import version_asked
from projects.api.v1.answers import networks as answers
from projects.api.v1.views.sites import PAGE
from projects.contracts.networks import ShieldedTaxonNew
from projects.models import Network, OutcomeReturn
from projects.rules.access import demand
from projects.rules.exports import MOST_AT_ONCE
from projects.selectors import networks as network_reads
from projects.selectors import records as reads
from projects.selectors import returns as return_reads
from projects.services import networks as acts

CSV_FILE = {(200, "text/csv"): OpenApiTypes.STR}
ZIP_FILE = {(200, "application/zip"): OpenApiTypes.BINARY}
YEAR = {"year": Filter("year", "year", about="Year of the returns; all if left out.")}
_OWN = "For the group and its coordinators: of the version that counts, else of the latest sent. No surveyor is named; "
OF_RETURN = (
    f"{_OWN}the place is told no more precisely than everybody may know, and not at all where the site is private."
)
OF_NETWORK = (
    "Of returns that the network agreed to, of sites that are shown to everybody, each place no more precise than its "
    f"owner allows. At most {MOST_AT_ONCE:,} records at once; more by POST /exports/."
)


class OfReturn(NounView):
    """A file of one return."""

    renderer_classes = [FileRenderer]

    def asked(self, request: Request, public_id: UUID) -> tuple[OutcomeReturn, list[int]]:
        """The return, and the version that its file is made of."""
        self.read_query(request)
        row = return_reads.return_get(self.actor, public_id)
        demand(self.actor, "return.read", group_id=row.group_id, network_id=row.network_id)
        key = row.agreed_id or row.current_id
        return row, [key] if key is not None else []


class ReturnRecordsCsvView(OfReturn):
    """Plants of one return."""

    @extend_schema(
        operation_id="returns_records_csv", summary="Plants of a return, a row for each record, as CSV",
        description=OF_RETURN, tags=["returns"], responses=CSV_FILE,
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> HttpResponse | FileResponse:
        row, keys = self.asked(request, public_id)
        return records_csv(keys, "records", f"records-{row.year}", row.network.licence, inside=True)


class ReturnFactsCsvView(OfReturn):
    """Measures of one return."""

    @extend_schema(
        operation_id="returns_facts_csv", summary="Measures of each quadrat of a return as CSV",
        description=OF_RETURN, tags=["returns"], responses=CSV_FILE,
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> HttpResponse | FileResponse:
        row, keys = self.asked(request, public_id)
        return records_csv(keys, "facts", f"facts-{row.year}", row.network.licence, inside=True)


class ReturnDarwinCoreView(OfReturn):
    """One return as an archive."""

    @extend_schema(
        operation_id="returns_darwin_core", summary="A return as a Darwin Core archive",
        description=OF_RETURN, tags=["returns"], responses=ZIP_FILE,
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> HttpResponse | FileResponse:
        row, keys = self.asked(request, public_id)
        data_set = reads.data_set_of_return(row, timezone.localdate())
        return darwin_core(keys, data_set, f"darwin-core-{row.year}", inside=True)


class OfNetwork(NounView):
    """A file of a network."""

    renderer_classes = [FileRenderer]

    def asked(self, request: Request, public_id: UUID) -> tuple[Network, list[int], str]:
        """The network, the versions that the file is made of, and what the file is called."""
        said = self.read_query(request, *YEAR)
        demand(self.actor, "record.read")
        network = network_reads.network_get(self.actor, public_id)
        year = YEAR["year"].read("year", said["year"]) if "year" in said else None
        versions = reads.open_versions(network, year)
        count = reads.records_in(versions)
        if count > MOST_AT_ONCE:
            text = f"That is {count:,} records; at once there are {MOST_AT_ONCE:,}. Name a year, or ask POST /exports/."
            raise query_problem("year", "too_many", text, said.get("year", ""), "a year with fewer")
        return network, reads.keys_of(versions), network.slug if year is None else f"{network.slug}-{year}"


def _documented(what: str, summary: str, responses: Any) -> Any:
    return extend_schema(
        operation_id=f"networks_{what}", summary=summary, description=OF_NETWORK, tags=["networks"],
        parameters=[item.parameter(name) for name, item in YEAR.items()], responses=responses,
    )  # fmt: skip


class NetworkRecordsCsvView(OfNetwork):
    """Plants of a network."""

    @_documented("records_csv", "Plants of a network's agreed returns, a row for each record, as CSV", CSV_FILE)
    def get(self, request: Request, public_id: UUID) -> HttpResponse | FileResponse:
        network, keys, name = self.asked(request, public_id)
        return records_csv(keys, "records", f"records-{name}", network.licence)


class NetworkFactsCsvView(OfNetwork):
    """Measures of a network."""

    @_documented("facts_csv", "Measures of each quadrat of a network's agreed returns, as CSV", CSV_FILE)
    def get(self, request: Request, public_id: UUID) -> HttpResponse | FileResponse:
        network, keys, name = self.asked(request, public_id)
        return records_csv(keys, "facts", f"facts-{name}", network.licence)


class NetworkDarwinCoreView(OfNetwork):
    """A network as an archive."""

    @_documented("darwin_core", "A network's agreed returns as a Darwin Core archive", ZIP_FILE)
    def get(self, request: Request, public_id: UUID) -> HttpResponse | FileResponse:
        network, keys, name = self.asked(request, public_id)
        return darwin_core(keys, reads.data_set_of(network, timezone.localdate()), f"darwin-core-{name}")


class ShieldedTaxaView(NounView):
    """Plants that a network shows coarsely."""

    @extend_schema(
        operation_id="shielded_taxa_list", summary="Plants whose places a network tells by a coarser square only",
        tags=["networks"], parameters=parameters({}), responses={200: page_model(answers.ShieldedTaxonAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.shielded_taxa(network_reads.network_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.shielded_taxon_answer(row) for row in found]))

    @extend_schema(
        operation_id="shielded_taxa_add", summary="Have a plant's places told by a coarser square", tags=["networks"],
        description="Said again of the same plant, the square changes.",
        parameters=[IDEMPOTENCY_KEY], request=ShieldedTaxonNew, responses={201: answers.ShieldedTaxonAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, ShieldedTaxonNew)
        row = acts.taxon_shield(actor=self.actor, network_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, answers.shielded_taxon_answer(row), status=201)


class ShieldedTaxonView(NounView):
    """One plant that is shown coarsely."""

    @extend_schema(
        operation_id="shielded_taxa_read", summary="A plant whose places are told by a coarser square only",
        tags=["networks"], responses={200: answers.ShieldedTaxonAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.shielded_taxon_get(self.actor, public_id)
        return tagged(row, answers.shielded_taxon_answer(row))

    @extend_schema(
        operation_id="shielded_taxa_remove", summary="Tell a plant's places as precisely as its sites again",
        tags=["networks"], parameters=[IF_MATCH], responses={204: None},
    )  # fmt: skip
    def delete(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.shielded_taxon_get(self.actor, public_id))
        acts.taxon_unshield(actor=self.actor, public_id=public_id, if_version=version, now=timezone.now())
        return Response(status=204)
