"""Lending: half-days taken once, gaps kept, who was shown, faults, hand-overs. Days are counted by hand."""

from datetime import date

import pytest

from modelling.errors import RequestRefused
from modelling.reading import read_as
from projects.contracts.kit import KitMended
from projects.errors import NotAllowed, NotFound, RuleBroken, WrongState
from projects.models import AuditEntry, KitBooking, KitFault, KitHalfDay, KitItem, KitShowing
from projects.rules.kit import Half, Span
from projects.selectors import kit as reads
from projects.services import kit as acts
from tests.projects.county import NOW
from tests.projects.kit import GARDEN, SIXTH, VERGE, book, days, fault, morning_of, move, scarifier, show

pytestmark = pytest.mark.django_db


def refusal(act):
    with pytest.raises((RuleBroken, RequestRefused)) as told:
        act()
    return [(error.pointer, error.code, error.detail) for error in told.value.errors]


def halves(item):
    return [(row.on, row.half, row.is_gap) for row in KitHalfDay.objects.filter(item=item)]


def test_a_booking_holds_its_half_days_and_the_gap_after_them(county):
    item = scarifier(county)
    show(county, item)
    row = book(county, item, first_half="afternoon", note="Moss under the yews.")
    assert (row.state, row.to_be_shown, row.group_id) == ("asked", False, county.projects["Under the yews"].group_id)
    seventh = SIXTH + days(1)
    # the afternoon of the 6th, then two half-days kept free: the morning and the afternoon of the 7th
    assert halves(item) == [(SIXTH, 1, False), (seventh, 0, True), (seventh, 1, True)]
    assert AuditEntry.objects.filter(act="kit_book", object_id=row.public_id).count() == 1


def test_a_clash_names_who_when_and_what_is_free_instead(county):
    item = scarifier(county)
    show(county, item, "neighbour")
    show(county, item, "lead")
    book(county, item, "neighbour", VERGE)
    assert refusal(lambda: book(county, item)) == [(
        "/first_on",
        "taken",
        "The scarifier is with Brackwater Verges on 6 September 2026 and is kept free until 7 September 2026, "
        "afternoon to travel and dry. Free for as long: 8 September 2026; 9 September 2026; 10 September 2026.",
    )]  # fmt: skip
    # one of the day before would have its own gap on the 6th
    assert refusal(lambda: book(county, item, on=SIXTH - days(1)))[0][1] == "taken"
    # its gap ends as the other begins: the 4th, kept free on the 5th
    assert book(county, item, on=SIXTH - days(2)).state == "asked"
    assert KitBooking.objects.count() == 2


def test_what_is_wrong_with_a_stretch_is_told_at_once(county):
    item = scarifier(county)
    found = refusal(lambda: book(county, item, on=date(2026, 8, 30), last_on="2026-09-30"))
    assert [(pointer, code) for pointer, code, _ in found] == [
        ("/first_on", "in_past"), ("/last_on", "out_of_range"), ("/to_be_shown", "not_shown"),
    ]  # fmt: skip
    assert found[0][2] == "30 August 2026 has gone by; a booking begins today or later."
    # 30 August to 30 September are 32 days
    assert found[1][2].startswith("That is 64 half-days; more than 28")
    ((pointer, code, text),) = refusal(
        lambda: book(county, item, first_half="afternoon", last_half="morning", to_be_shown=True)
    )
    assert (pointer, code) == ("/last_on", "out_of_range")
    assert text == (
        "It would end on 6 September 2026, morning and begin on 6 September 2026, afternoon; the end comes after the "
        "beginning."
    )
    assert refusal(lambda: book(county, item, on=date(2090, 1, 1), to_be_shown=True))[0][:2] == (
        "/first_on", "out_of_range",
    )  # fmt: skip


def test_whoever_was_not_shown_is_asked_and_told_who_shows(county):
    item = scarifier(county, agreed_at_once=True)
    show(county, item, "neighbour", may_show=True)
    ((_, code, text),) = refusal(lambda: book(county, item))
    assert code == "not_shown"
    # another group's people are not named
    assert text.endswith("it can be shown by somebody of Brackwater Verges or the network’s coordinators.")
    row = book(county, item, to_be_shown=True)
    # what is agreed at once waits for a word where somebody has to be shown first
    assert (row.state, row.to_be_shown) == ("asked", True)
    assert book(county, item, "neighbour", VERGE, on=SIXTH + days(20)).state == "agreed"


def test_the_question_is_answered_in_one_sentence(county):
    item = scarifier(county)
    show(county, item, "member", may_show=True)
    lead = county.as_(county.lead)
    on = Span(Half(SIXTH), Half(SIXTH, 1))

    def answer(actor=lead, span=on):
        return reads.answer_for(actor, item, span, NOW.date()).sentence

    assert answer() == "Yes: The scarifier is free on 6 September 2026, and somebody of you was shown it."
    assert answer(county.as_(county.neighbour)) == (
        "Yes: The scarifier is free on 6 September 2026, and you are shown it first (starting, stopping, clearing), by "
        "somebody of Gullhaven Meadow Makers or the network’s coordinators."
    )
    book(county, item)
    assert answer() == (
        "No: The scarifier is with Gullhaven Meadow Makers on 6 September 2026 and kept free until 7 September 2026, "
        "afternoon; free for as long: 8 September 2026; 9 September 2026; 10 September 2026."
    )
    fault(county, item, out_of_use_from="2026-09-10")
    assert answer(span=Span(Half(date(2026, 9, 12)), Half(date(2026, 9, 12)))) == (
        "No: The scarifier is out of use (The belt is torn); it is not free for as long in the next 120 days."
    )
    assert answer(span=Span(Half(date(2026, 8, 1)), Half(date(2026, 8, 1)))).startswith("1 August 2026 has gone by;")


def test_a_fault_takes_it_out_of_use_and_tells_what_it_touches(county):
    item = scarifier(county)
    show(county, item)
    before, after = book(county, item), book(county, item, on=SIXTH + days(9))
    row, touched = fault(county, item, out_of_use_from=(SIXTH + days(1)).isoformat())
    assert touched == [after]
    ((pointer, code, text),) = refusal(lambda: book(county, item, on=SIXTH + days(20)))
    assert (pointer, code) == ("/item_id", "out_of_use")
    assert text == (
        "The scarifier is out of use from 7 September 2026: The belt is torn. A coordinator says when it is mended."
    )
    with pytest.raises(NotAllowed):
        mend(county, row, "lead")
    mend(county, row)
    assert reads.touched_by(county.as_(county.lead), KitFault.objects.get()) == []
    assert book(county, item, on=SIXTH + days(20)).state == "asked"
    assert before.state == "asked"


def mend(county, row, who="coordinator", on=NOW):
    asked = read_as(KitMended, {"mended_on": on.date().isoformat()})
    return acts.fault_mend(
        actor=county.as_(getattr(county, who)), public_id=row.public_id, asked=asked, if_version=None, now=on
    )


def test_it_is_handed_out_once_somebody_was_shown_and_comes_back_with_its_hours(county):
    item = scarifier(county, meter_hours=41.5)
    row = book(county, item, to_be_shown=True)
    move(county, row, "agreed")
    then = morning_of(SIXTH)
    ((pointer, code, _),) = refusal(lambda: move(county, row, "out", "lead", then, condition="good"))
    assert (pointer, code) == ("/shown", "not_shown")
    shown = [str(county.lead.public_id)]
    # a member cannot write down that they were shown
    with pytest.raises(NotAllowed):
        move(county, row, "out", "lead", then, condition="good", shown=shown)
    row = move(county, row, "out", "coordinator", then, condition="good", shown=shown, meter_hours=41.5)
    assert (row.state, row.to_be_shown) == ("out", False)
    assert KitShowing.objects.get().user == county.lead
    ((pointer, _, text),) = refusal(lambda: move(county, row, "back", "lead", then, condition="good", meter_hours=41))
    assert (pointer, text) == (
        "/meter_hours", "The meter stood at 41.5 hours before; it cannot stand at 41 now."
    )  # fmt: skip
    row = move(
        county, row, "back", "lead", morning_of(SIXTH, 18), condition="faulty", meter_hours=44, fault="The belt slips.",
        out_of_use_from="2026-09-07",
    )  # fmt: skip
    assert (row.state, KitItem.objects.get().meter_minutes) == ("back", 44 * 60)
    assert KitFault.objects.get().booking == row
    with pytest.raises(WrongState):
        move(county, row, "cancelled", "lead")


def test_what_comes_back_early_is_free_for_others(county):
    item = scarifier(county)
    show(county, item)
    row = book(county, item, last_on=(SIXTH + days(5)).isoformat())
    move(county, row, "agreed")
    move(county, row, "out", "lead", morning_of(SIXTH), condition="good")
    row = move(county, row, "back", "lead", morning_of(SIXTH + days(1)), condition="good")
    # used until the morning of the 7th, kept free for two half-days after it
    assert (row.last_on, row.last_half) == (SIXTH + days(1), 0)
    assert [on for on, _, gap in halves(item) if gap] == [SIXTH + days(1), SIXTH + days(2)]
    assert book(county, item, on=SIXTH + days(3)).state == "asked"


def test_nothing_goes_out_twice(county):
    item = scarifier(county, shown_first="", gap_half_days=0)
    first, second = book(county, item, last_half="morning"), book(county, item, first_half="afternoon")
    for row in (first, second):
        move(county, row, "agreed")
    move(county, first, "out", "lead", morning_of(SIXTH), condition="good")
    with pytest.raises(WrongState, match="still with Gullhaven Meadow Makers"):
        move(county, second, "out", "lead", morning_of(SIXTH, 13), condition="good")


def test_it_does_not_go_out_early_through_what_others_booked(county):
    item = scarifier(county, shown_first="", gap_half_days=0)
    first, second = book(county, item), book(county, item, on=SIXTH + days(2))
    for row in (first, second):
        move(county, row, "agreed")
    with pytest.raises(WrongState, match="is not free until then"):
        move(county, second, "out", "lead", morning_of(SIXTH), condition="good")
    # nobody has it on the evening before
    assert move(county, second, "out", "lead", morning_of(SIXTH + days(1), 18), condition="good").state == "out"


def test_what_comes_back_faulty_stops_even_if_no_day_is_said(county):
    item = scarifier(county, shown_first="", gap_half_days=0)
    first, second = book(county, item), book(county, item, on=SIXTH + days(2))
    for row in (first, second):
        move(county, row, "agreed")
    move(county, first, "out", "lead", morning_of(SIXTH), condition="good")
    move(county, first, "back", "lead", morning_of(SIXTH, 18), condition="faulty", fault="The belt slips.")
    assert KitFault.objects.get().out_of_use_from == SIXTH
    with pytest.raises(WrongState, match="out of use: The belt slips"):
        move(county, second, "out", "lead", morning_of(SIXTH + days(2)), condition="good")


def test_refused_and_cancelled_ones_give_their_half_days_back(county):
    item = scarifier(county, shown_first="")
    for to, who, more in (("refused", "coordinator", {"because": "It goes to the school."}), ("cancelled", "lead", {})):
        row = move(county, book(county, item), to, who, **more)
        assert (row.state, halves(item)) == (to, [])
    ((_, code, _),) = refusal(lambda: move(county, book(county, item), "refused"))
    assert code == "missing"


def test_asking_again_changes_nothing(county):
    item = scarifier(county, shown_first="")
    same = {"submission_id": "00000000-0000-4000-8000-000000000001"}
    assert book(county, item, **same) == book(county, item, **same)
    assert KitBooking.objects.count() == 1


def test_who_may_do_what(county):
    item = scarifier(county)
    show(county, item)
    row = book(county, item, "member")
    stranger, neighbour = county.as_(county.stranger), county.as_(county.neighbour)
    with pytest.raises(NotFound):
        reads.kit_get(stranger, item.public_id)
    assert reads.kit_get(neighbour, item.public_id) == item
    # another group reads that it is taken and by whom, and nothing of what for
    assert [one.group.name for one in reads.bookings_of_item(neighbour, item, SIXTH)] == ["Gullhaven Meadow Makers"]
    with pytest.raises(NotFound):
        reads.booking_get(neighbour, row.public_id)
    assert list(reads.showings_of(neighbour, item)) == []
    assert [one.user for one in reads.showings_of(county.as_(county.member), item)] == [county.lead]
    for who in ("lead", "member"):
        with pytest.raises(NotAllowed):
            move(county, row, "agreed", who)
    # by whoever asked, although they do not lead
    assert move(county, row, "cancelled", "member").state == "cancelled"
    with pytest.raises(NotFound):
        book(county, item, "neighbour", GARDEN, to_be_shown=True)


def test_an_item_is_changed_and_retired_by_coordinators(county):
    from projects.contracts.kit import KitItemChange

    item = scarifier(county)
    coordinator = county.as_(county.coordinator)

    def change(who=coordinator, **said):
        asked = read_as(KitItemChange, said)
        return acts.item_change(actor=who, public_id=item.public_id, asked=asked, if_version=None, now=NOW)

    with pytest.raises(NotAllowed):
        change(county.as_(county.lead), note="Mine.")
    row = change(width_m=0.5, village_id=None, service_due_hours=50)
    assert (row.width_cm, row.village, row.service_due_minutes, row.name) == (50, None, 3000, "The scarifier")
    assert change(retired=True).retired_at == NOW
    ((pointer, code, _),) = refusal(lambda: book(county, item, to_be_shown=True))
    assert (pointer, code) == ("/item_id", "unknown")
    assert refusal(lambda: scarifier(county, name="THE scarifier")) == [
        ("/name", "taken", "The network lends something of this name already.")
    ]


@pytest.mark.parametrize(("to", "said", "code"), [
    ("out", {}, "missing"), ("back", {"condition": "faulty"}, "missing"),
    ("back", {"condition": "good", "out_of_use_from": "2026-09-09"}, "missing"),
])  # fmt: skip
def test_moves_say_what_they_need(county, to, said, code):
    row = book(county, scarifier(county, shown_first=""))
    assert refusal(lambda: move(county, row, to, **said))[0][1] == code
