"""Decisions, awards, payments, changes; open data about grants."""

import csv
import io
from uuid import UUID

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects import choices
from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, IF_MATCH_MAYBE, NounView, once, tagged
from projects.api.tags import version_asked
from projects.api.v1.answers import decisions as answers
from projects.api.v1.views.sites import PAGE
from projects.contracts.decisions import (
    AwardMove,
    ChangeMove,
    ChangeNew,
    DecisionChange,
    DecisionNew,
    EndReport,
    MoneyBack,
    PaymentMove,
    PaymentNew,
    VisitNew,
)
from projects.selectors import decisions as reads
from projects.services import awards
from projects.services import decisions as acts

FILTERS = {
    "network": Filter("bid__network__public_id", "id", about="Id of a network."),
    "round": Filter("round__public_id", "id", about="Id of a round."),
    "group": Filter("group__public_id", "id", about="Id of a group."),
    "state": Filter("state", words=tuple(choices.AwardState.values), about="Where it stands."),
}
OPEN_FILTERS = {
    "network": Filter("bid__network__public_id", "id", about="Id of a network."),
    "round": Filter("round__public_id", "id", about="Id of a round."),
    "awarded_since": Filter("decision__published_at__gte", "moment", about="Awarded at this moment or later."),
}
MOST_OPEN = 5_000


class DecisionsView(NounView):
    """Decisions about a bid."""

    @extend_schema(
        operation_id="decisions_list", summary="Decisions about a bid, the latest first", tags=["awards"],
        description="Its group sees them once they are published.", responses={200: answers.Decisions},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = reads.decisions_of(self.actor, public_id)
        return Response({"results": [answers.decision_answer(row) for row in rows]})

    @extend_schema(
        operation_id="decisions_draft", summary="Begin to write a decision, with its letter", tags=["awards"],
        parameters=[IDEMPOTENCY_KEY], request=DecisionNew, responses={201: answers.DecisionAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, DecisionNew)
        made = acts.decision_draft(actor=self.actor, bid_id=public_id, asked=asked, now=timezone.now())
        row = reads.decision_get(self.actor, made.public_id)
        location = reverse("v1-decision", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.decision_answer(row), status=201, location=location)


class DecisionView(NounView):
    """One decision."""

    @extend_schema(
        operation_id="decisions_read", summary="One decision", tags=["awards"], responses={200: answers.DecisionAnswer}
    )
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.decision_get(self.actor, public_id)
        return tagged(row, answers.decision_answer(row))

    @extend_schema(
        operation_id="decisions_change", summary="Change a decision before it is published", tags=["awards"],
        description="The letter follows what is changed until somebody has written in it.",
        parameters=[IF_MATCH], request=DecisionChange, responses={200: answers.DecisionAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.decision_get(self.actor, public_id))
        asked = self.read(request, DecisionChange)
        acts.decision_change(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now())
        row = reads.decision_get(self.actor, public_id)
        return tagged(row, answers.decision_answer(row))


class PublicationView(NounView):
    """Publishing a decision."""

    @extend_schema(
        operation_id="decisions_publish", summary="Publish a decision: it is final, and the pot is never exceeded",
        tags=["awards"], parameters=[IDEMPOTENCY_KEY, IF_MATCH], request=None,
        responses={200: answers.DecisionAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.decision_get(self.actor, public_id))
        acts.decision_publish(actor=self.actor, public_id=public_id, if_version=version, now=timezone.now())
        row = reads.decision_get(self.actor, public_id)
        return tagged(row, answers.decision_answer(row))


class AwardsView(NounView):
    """Awards that the caller may see."""

    @extend_schema(
        operation_id="awards_list", summary="Awards, with what is due for each", tags=["awards"],
        parameters=parameters(FILTERS), responses={200: page_model(answers.AwardAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *FILTERS, *PAGE)
        rows, today = narrowed(reads.award_list(self.actor), said, FILTERS), timezone.localdate()
        return Response(page(request, rows, said, lambda found: [answers.award_answer(row, today) for row in found]))


class AwardView(NounView):
    """One award."""

    @extend_schema(
        operation_id="awards_read", summary="One award", tags=["awards"], responses={200: answers.AwardAnswer}
    )
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.award_get(self.actor, public_id)
        return tagged(row, answers.award_answer(row, timezone.localdate()))


class AwardMovesView(NounView):
    """The life of an award."""

    @extend_schema(
        operation_id="awards_move", summary="Accept, decline, withdraw or finish an award; note conditions as met",
        description="The group accepts or declines; the rest is its funder's. Money not spent is in the pot again.",
        tags=["awards"], parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=AwardMove,
        responses={200: answers.AwardAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.award_get(self.actor, public_id), needed=False)
        asked, now = self.read(request, AwardMove), timezone.now()
        awards.award_move(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=now)
        row = reads.award_get(self.actor, public_id)
        return tagged(row, answers.award_answer(row, timezone.localdate(now)))


class ReportView(NounView):
    """The report at the end."""

    @extend_schema(
        operation_id="awards_report", summary="Send the report at the end of an award", tags=["awards"],
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=EndReport, responses={200: answers.AwardAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.award_get(self.actor, public_id), needed=False)
        asked, now = self.read(request, EndReport), timezone.now()
        awards.report_send(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=now)
        row = reads.award_get(self.actor, public_id)
        return tagged(row, answers.award_answer(row, timezone.localdate(now)))


class PaymentsView(NounView):
    """Payment requests of an award."""

    @extend_schema(
        operation_id="payments_list", summary="Payment requests of an award", tags=["awards"],
        responses={200: answers.Payments},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = reads.award_get(self.actor, public_id).payments.all()
        return Response({"results": [answers.payment_answer(row) for row in rows]})

    @extend_schema(
        operation_id="payments_ask", summary="Ask for the money of a stage, with evidence", tags=["awards"],
        parameters=[IDEMPOTENCY_KEY], request=PaymentNew, responses={201: answers.PaymentAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, PaymentNew)
        row = awards.payment_ask(actor=self.actor, award_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, answers.payment_answer(row), status=201)


class PaymentMovesView(NounView):
    """Settling a payment request."""

    @extend_schema(
        operation_id="payments_settle", summary="Note a payment as made, or refuse it", tags=["awards"],
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=PaymentMove, responses={200: answers.PaymentAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.payment_get(self.actor, public_id), needed=False)
        asked, now = self.read(request, PaymentMove), timezone.now()
        row = awards.payment_settle(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=now)
        return tagged(row, answers.payment_answer(row))


class AlterationsView(NounView):
    """Requests to change something in an award."""

    @extend_schema(
        operation_id="changes_list", summary="Requests to change something in an award", tags=["awards"],
        responses={200: answers.Alterations},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = reads.award_get(self.actor, public_id).changes.all()
        return Response({"results": [answers.alteration_answer(row) for row in rows]})

    @extend_schema(
        operation_id="changes_ask", summary="Ask to change dates, budget, seed or ground", tags=["awards"],
        parameters=[IDEMPOTENCY_KEY], request=ChangeNew, responses={201: answers.AlterationAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, ChangeNew)
        row = awards.alteration_ask(actor=self.actor, award_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, answers.alteration_answer(row), status=201)


class AlterationMovesView(NounView):
    """Settling a request to change something."""

    @extend_schema(
        operation_id="changes_settle", summary="Agree or refuse a change", tags=["awards"],
        description="Agreed dates and stages hold from then on; seed and ground are for the plan to change.",
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=ChangeMove, responses={200: answers.AlterationAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.alteration_get(self.actor, public_id), needed=False)
        asked, now = self.read(request, ChangeMove), timezone.now()
        row = awards.alteration_settle(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=now)
        return tagged(row, answers.alteration_answer(row))


class MoneyBackView(NounView):
    """Money that came back."""

    @extend_schema(
        operation_id="money_back_list", summary="Money of an award that came back", tags=["awards"],
        responses={200: answers.MoneyBacks},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = reads.award_get(self.actor, public_id).money_returned.all()
        return Response({"results": [answers.returned_answer(row) for row in rows]})

    @extend_schema(
        operation_id="money_back_note", summary="Note money that came back; it can be awarded again", tags=["awards"],
        parameters=[IDEMPOTENCY_KEY], request=MoneyBack, responses={201: answers.ReturnedAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, MoneyBack)
        row = awards.money_back(actor=self.actor, award_id=public_id, asked=asked, now=timezone.now())
        return Response(answers.returned_answer(row), status=201)


class VisitsView(NounView):
    """Visits to what an award pays for."""

    @extend_schema(
        operation_id="visits_list", summary="Visits to what an award pays for, the latest first", tags=["awards"],
        responses={200: answers.Visits},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = reads.visits_of(self.actor, reads.award_get(self.actor, public_id))
        return Response({"results": [answers.visit_answer(row) for row in rows]})

    @extend_schema(
        operation_id="visits_note", summary="Note a visit to what an award pays for", tags=["awards"],
        description="The group reads it, with the visitor’s role and no name. It stays as it is written.",
        parameters=[IDEMPOTENCY_KEY], request=VisitNew, responses={201: answers.VisitAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, VisitNew)
        row = awards.visit_note(actor=self.actor, award_id=public_id, asked=asked, now=timezone.now())
        return Response(answers.visit_answer(row), status=201)


class OpenGrantsView(NounView):
    """Published awards for everybody."""

    @extend_schema(
        operation_id="open_grants", summary="Published awards, in the fields of the open standard for grants data",
        description=f"At most {MOST_OPEN:,}, the oldest first; narrow it by filters. Says nothing of sites.",
        tags=["open-grants"], parameters=[item.parameter(name) for name, item in OPEN_FILTERS.items()],
        responses={200: answers.OpenGrants},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *OPEN_FILTERS)
        rows = narrowed(reads.open_awards(), said, OPEN_FILTERS).order_by("created_at", "public_id")
        return Response({"grants": [reads.open_grant(row) for row in rows[:MOST_OPEN]]})


class OpenGrantsCsvView(NounView):
    """Published awards as a table."""

    @extend_schema(
        operation_id="open_grants_csv", summary="Published awards as CSV, under the standard's headings",
        description=f"At most {MOST_OPEN:,}, the oldest first; narrow it by filters.",
        tags=["open-grants"], parameters=[item.parameter(name) for name, item in OPEN_FILTERS.items()],
        responses={(200, "text/csv"): OpenApiTypes.STR},
    )  # fmt: skip
    def get(self, request: Request) -> HttpResponse:
        said = self.read_query(request, *OPEN_FILTERS)
        rows = narrowed(reads.open_awards(), said, OPEN_FILTERS).order_by("created_at", "public_id")
        file = io.StringIO(newline="")
        lines = csv.writer(file)
        lines.writerow(reads.OPEN_HEADINGS.values())
        lines.writerows(reads.flat_grant(reads.open_grant(row)) for row in rows[:MOST_OPEN])
        return HttpResponse(file.getvalue(), content_type="text/csv; charset=utf-8")
