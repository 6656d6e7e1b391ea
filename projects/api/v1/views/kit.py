"""The lending pool of a network: items, who was shown how, faults, bookings, and a project's calendar."""

from datetime import date
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects import choices
from projects.api.base import query_problem
from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, IF_MATCH_MAYBE, NounView, once, tagged
from projects.api.tags import version_asked
from projects.api.v1.answers import kit as answers
from projects.api.v1.views.sites import PAGE
from projects.contracts.base import FIRST_DAY, LAST_DAY
from projects.contracts.kit import (
    KitBookingMove,
    KitBookingNew,
    KitFaultNew,
    KitItemChange,
    KitItemNew,
    KitMended,
    KitShowingNew,
)
from projects.models import KitFault, KitItem
from projects.rules.kit import HALVES, LONGEST, Half, Span
from projects.selectors import kit as reads
from projects.selectors import meadows as meadow_reads
from projects.selectors import networks as network_reads
from projects.selectors.calendar import calendar_lines
from projects.services import kit as acts
from projects.services import kit_bookings as booking_acts

KIT_FILTERS = {"kind": Filter("kind", words=tuple(choices.KitKind.values), about="What it is.")}
BOOKING_FILTERS = {
    "state": Filter("state", words=tuple(choices.KitState.values), about="How far it has come."),
    "from": Filter("last_on__gte", "day", about="Booked on this day or later."),
    "to": Filter("first_on__lte", "day", about="Booked on this day or earlier."),
}
DAY = Filter("", "day", about="First day.")
LAST = Filter("", "day", about="Last day; left out, the first.")
FIRST_HALF = Filter("", words=HALVES, about="From its morning or its afternoon; left out, the morning.")
LAST_HALF = Filter("", words=HALVES, about="To its morning or its afternoon; left out, the afternoon.")
ASKED = {"on": DAY, "first_half": FIRST_HALF, "until": LAST, "last_half": LAST_HALF}


def told(row: KitItem) -> dict[str, object]:
    """Return an item's answer."""
    return answers.item_answer(row, reads.cautions_for(row))


class NetworkKitView(NounView):
    """What a network lends."""

    @extend_schema(
        operation_id="kit_list", summary="What a network lends to its groups", tags=["kit"],
        parameters=parameters(KIT_FILTERS), responses={200: page_model(answers.KitItemAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *KIT_FILTERS, *PAGE)
        rows = reads.kit_of(self.actor, network_reads.network_get(self.actor, public_id))
        return Response(
            page(request, narrowed(rows, said, KIT_FILTERS), said, lambda found: [told(row) for row in found])
        )

    @extend_schema(
        operation_id="kit_add", summary="Add something to lend", tags=["kit"],
        parameters=[IDEMPOTENCY_KEY], request=KitItemNew, responses={201: answers.KitItemAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, KitItemNew)
        row = acts.item_create(actor=self.actor, network_id=public_id, asked=asked, now=timezone.now())
        location = reverse("v1-kit-item", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, told(row), status=201, location=location)


class KitItemView(NounView):
    """One item."""

    @extend_schema(
        operation_id="kit_read", summary="One item of kit", tags=["kit"], responses={200: answers.KitItemAnswer}
    )
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.kit_get(self.actor, public_id)
        return tagged(row, told(row))

    @extend_schema(
        operation_id="kit_change", summary="Change what is said of an item", tags=["kit"],
        parameters=[IF_MATCH], request=KitItemChange, responses={200: answers.KitItemAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.kit_get(self.actor, public_id))
        asked = self.read(request, KitItemChange)
        acts.item_change(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now())
        row = reads.kit_get(self.actor, public_id)
        return tagged(row, told(row))


class KitDaysView(NounView):
    """Whether an item can be had."""

    @extend_schema(
        operation_id="kit_days", summary="Can I have it on that day, and who shows us?", tags=["kit"],
        parameters=[item.parameter(name) for name, item in ASKED.items()], responses={200: answers.KitDaysAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *ASKED)
        item = reads.kit_get(self.actor, public_id)
        today = timezone.localdate()
        read = {name: ASKED[name].read(name, text) for name, text in said.items()}
        first: date = read.get("on", today)
        last: date = read.get("until", first)
        span = Span(
            Half(first, HALVES.index(read.get("first_half", HALVES[0]))),
            Half(last, HALVES.index(read.get("last_half", HALVES[1]))),
        )
        if not 1 <= span.count <= LONGEST:
            raise query_problem(
                "until", "out_of_range", f"That is {span.count} half-days; it should be 1 to {LONGEST}.",
                last.isoformat(), f"1 to {LONGEST} half-days",
            )  # fmt: skip
        if not FIRST_DAY <= first <= LAST_DAY:
            raise query_problem(
                "on", "out_of_range", f"{first} is too far away.", first.isoformat(), "a day near today"
            )
        return Response(answers.days_answer(reads.answer_for(self.actor, item, span, today)))


class KitTakenView(NounView):
    """Who has an item when."""

    @extend_schema(
        operation_id="kit_taken", summary="Who has an item when, from today on", tags=["kit"],
        responses={200: answers.KitTaken},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        item = reads.kit_get(self.actor, public_id)
        rows = reads.bookings_of_item(self.actor, item, timezone.localdate())
        return Response(answers.taken_answer([(row, reads.span_of(row)) for row in rows]))


class KitShowingsView(NounView):
    """Who was shown an item."""

    @extend_schema(
        operation_id="kit_showings_list", summary="Who was shown an item", tags=["kit"],
        description="Everybody for coordinators, those of one's own groups for members.",
        parameters=parameters({}), responses={200: page_model(answers.KitShowingAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.showings_of(self.actor, reads.kit_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.showing_answer(row) for row in found]))

    @extend_schema(
        operation_id="kit_show", summary="Note that somebody was shown an item", tags=["kit"],
        parameters=[IDEMPOTENCY_KEY], request=KitShowingNew,
        responses={201: answers.KitShowingAnswer, 200: answers.KitShowingAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, KitShowingNew)
        row, new = acts.showing_add(actor=self.actor, item_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, answers.showing_answer(row), status=201 if new else 200)


class KitShowingView(NounView):
    """One note of showing."""

    @extend_schema(
        operation_id="kit_show_remove", summary="Take a note of showing away", tags=["kit"],
        parameters=[IF_MATCH], responses={204: None},
    )  # fmt: skip
    def delete(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.showing_get(self.actor, public_id))
        acts.showing_remove(actor=self.actor, public_id=public_id, if_version=version, now=timezone.now())
        return Response(status=204)


def told_fault(view: NounView, row: KitFault) -> dict[str, object]:
    """Return a fault's answer."""
    return answers.fault_answer(row, [reads.span_of(one) for one in reads.touched_by(view.actor, row)])


class KitFaultsView(NounView):
    """What is wrong with an item."""

    @extend_schema(
        operation_id="kit_faults_list", summary="What is or was wrong with an item", tags=["kit"],
        parameters=parameters({}), responses={200: page_model(answers.KitFaultAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.faults_of(self.actor, reads.kit_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [told_fault(self, row) for row in found]))

    @extend_schema(
        operation_id="kit_fault_note", summary="Note what is wrong with an item", tags=["kit"],
        description="With out_of_use_from it cannot be booked from that day; the bookings touched are told.",
        parameters=[IDEMPOTENCY_KEY], request=KitFaultNew, responses={201: answers.KitFaultAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, KitFaultNew)
        row, _ = acts.fault_note(actor=self.actor, item_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, told_fault(self, row), status=201)


class KitFaultMendView(NounView):
    """Mending."""

    @extend_schema(
        operation_id="kit_fault_mend", summary="Note that a fault is put right", tags=["kit"],
        parameters=[IDEMPOTENCY_KEY], request=KitMended, responses={200: answers.KitFaultAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, KitMended)
        row = acts.fault_mend(actor=self.actor, public_id=public_id, asked=asked, if_version=None, now=timezone.now())
        return tagged(row, told_fault(self, row))


class ProjectKitBookingsView(NounView):
    """Kit booked for a project."""

    @extend_schema(
        operation_id="kit_bookings_list", summary="Kit booked for a project", tags=["kit"],
        parameters=parameters(BOOKING_FILTERS), responses={200: page_model(answers.KitBookingAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *BOOKING_FILTERS, *PAGE)
        rows = reads.bookings_of_project(self.actor, meadow_reads.project_get(self.actor, public_id))
        rows = narrowed(rows, said, BOOKING_FILTERS).prefetch_related("hand_overs")
        return Response(page(request, rows, said, lambda found: [answers.booking_answer(row) for row in found]))

    @extend_schema(
        operation_id="kit_book", summary="Ask for an item for a project", tags=["kit"],
        description="Half-days are held from then on. What is taken is refused: by whom, and what is free next.",
        parameters=[IDEMPOTENCY_KEY], request=KitBookingNew,
        responses={201: answers.KitBookingAnswer, 200: answers.KitBookingAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, KitBookingNew)
        made, new = booking_acts.booking_ask(actor=self.actor, project_id=public_id, asked=asked, now=timezone.now())
        row = reads.booking_get(self.actor, made.public_id)
        location = reverse("v1-kit-booking", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.booking_answer(row), status=201 if new else 200, location=location)


class KitBookingView(NounView):
    """One booking."""

    @extend_schema(
        operation_id="kit_bookings_read", summary="One booking of kit", tags=["kit"],
        responses={200: answers.KitBookingAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.booking_get(self.actor, public_id)
        return tagged(row, answers.booking_answer(row))


class KitBookingMovesView(NounView):
    """What becomes of a booking."""

    @extend_schema(
        operation_id="kit_bookings_move", summary="Agree, refuse, cancel, hand out or take back", tags=["kit"],
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=KitBookingMove,
        responses={200: answers.KitBookingAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.booking_get(self.actor, public_id), needed=False)
        asked = self.read(request, KitBookingMove)
        booking_acts.booking_move(
            actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now()
        )
        row = reads.booking_get(self.actor, public_id)
        return tagged(row, answers.booking_answer(row))


class ProjectCalendarView(NounView):
    """The calendar of a project."""

    @extend_schema(
        operation_id="projects_calendar", summary="What the plan says and what is booked, by day", tags=["projects"],
        responses={200: answers.CalendarAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        project = meadow_reads.project_get(self.actor, public_id)
        return Response(answers.calendar_answer(calendar_lines(self.actor, project)))
