"""What happens to lots of seed: sums that hold, refusals in words, and a history that is never changed."""

import uuid
from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from modelling.errors import RequestRefused
from modelling.models import StoredForGood
from modelling.reading import read_as
from projects.contracts.lots import LotBlend, LotChange, LotMove, LotNew
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale, WrongState
from projects.models import AuditEntry, LotPart, SeedEntry, SeedLot, SeedPromise
from projects.selectors.lots import entries_of, lot_get, lots_that_do_not_add_up, promise_get
from projects.services import lots
from tests.projects.county import NOW
from tests.projects.seed import MAKERS, VERGES, blend, lot, move, promise, promise_move, split

pytestmark = pytest.mark.django_db


def totals(row):
    row = SeedLot.objects.get(pk=row.pk)
    return row.made_mg, row.balance_mg, row.promised_mg, row.gone_mg


def fault(caught):
    error = caught.value.errors[0]
    return error.pointer, error.code, error.expected


def test_a_sack_from_the_shop_to_the_meadow(county):
    row = lot(county, grams=1000.0)
    owed = promise(county, row, 400.0, by="2026-10-01")
    assert totals(row) == (1_000_000, 1_000_000, 400_000, 0)
    promise_move(county, owed, "handed_over", 250.0)
    promise_move(county, owed, "released")
    promise_move(county, owed, "returned", 50.0)
    promise_move(county, owed, "sown")
    move(county, row, "spilt", 0.125, reason="The bag tore.")
    assert totals(row) == (1_000_000, 799_875, 0, 200_125)
    owed.refresh_from_db()
    assert (owed.promised_mg, owed.handed_mg, owed.released_mg, owed.returned_mg, owed.sown_mg) == (
        400_000, 250_000, 150_000, 50_000, 200_000,
    )  # fmt: skip
    told = [(line.number, line.act, line.amount_mg, line.balance_mg, line.promised_mg) for line in entries_of(row)]
    assert told == [
        (1, "made", 1_000_000, 1_000_000, 0),
        (2, "promised", 400_000, 1_000_000, 400_000),
        (3, "handed_over", 250_000, 750_000, 150_000),
        (4, "released", 150_000, 750_000, 0),
        (5, "returned", 50_000, 800_000, 0),
        (6, "sown", 200_000, 800_000, 0),
        (7, "spilt", 125, 799_875, 0),
    ]
    assert lots_that_do_not_add_up() == []
    assert AuditEntry.objects.filter(act="promise_handed_over").get().group_id == owed.group_id


def test_a_sum_that_was_tampered_with_is_found(county):
    row = lot(county)
    SeedLot.objects.filter(pk=row.pk).update(balance_mg=999_999, gone_mg=1)
    assert lots_that_do_not_add_up() == [row.public_id]


def test_no_more_goes_than_is_free(county):
    row = lot(county, grams=100.0)
    promise(county, row, 80.0)
    for act in ("used", "spilt", "discarded"):
        with pytest.raises(RuleBroken) as caught:
            move(county, row, act, 20.001, reason="x")
        assert fault(caught) == ("/grams", "not_enough", "at most 20 g")
    with pytest.raises(RuleBroken, match=r"100 g of Sack of the ness are left, 80 g of them promised: 30 g cannot go"):
        promise(county, row, 30.0)
    with pytest.raises(RuleBroken):
        split(county, row, "Jar", 20.001)
    assert totals(row) == (100_000, 100_000, 80_000, 0)
    assert SeedLot.objects.count() == SeedPromise.objects.count() == 1


def test_nothing_is_promised_of_seed_that_is_not_dry(county):
    row = lot(county, state="fresh")
    with pytest.raises(WrongState, match="nobody knows what it will weigh"):
        promise(county, row, 1.0)
    move(county, row, "drying")
    with pytest.raises(WrongState):
        promise(county, row, 1.0)
    move(county, row, "dried", 470.0, grams_before=1000.0)
    promise(county, row, 470.0)
    assert totals(row) == (1_000_000, 470_000, 470_000, 530_000)
    with pytest.raises(WrongState, match="dry already"):
        move(county, row, "dried", 1.0)


def test_dry_seed_is_not_heavier_than_fresh(county):
    row = lot(county, state="fresh")
    with pytest.raises(RuleBroken) as caught:
        move(county, row, "dried", 1000.001)
    assert fault(caught) == ("/grams", "out_of_range", "at most 1 kg")
    with pytest.raises(RuleBroken) as caught:
        move(county, row, "dried", 500.0, grams_before=700.0)
    assert fault(caught) == ("/grams_before", "contradiction", "about 1 kg")


def test_cleaning_takes_chaff_and_no_promise(county):
    row = lot(county)
    promise(county, row, 600.0)
    with pytest.raises(RuleBroken) as caught:
        move(county, row, "cleaned", 599.0)
    assert fault(caught) == ("/grams", "not_enough", "at least 600 g")
    move(county, row, "cleaned", 600.0)
    row.refresh_from_db()
    assert (totals(row), row.treatments) == ((1_000_000, 600_000, 600_000, 400_000), 1)


def test_a_lot_on_hold_is_neither_promised_handed_over_used_nor_blended(county):
    row, other = lot(county), lot(county, "Other")
    owed = promise(county, row, 100.0)
    move(county, row, "held", reason="Ragwort in it.")
    for act in (
        lambda: promise(county, row, 1.0),
        lambda: promise_move(county, owed, "handed_over"),
        lambda: move(county, row, "used", 1.0),
        lambda: blend(county, "Both", (row, 1.0), (other, 1.0)),
    ):
        with pytest.raises(WrongState, match="on hold: Ragwort in it"):
            act()
    child = split(county, row, "Jar", 10.0)
    assert child.held_at is not None
    promise_move(county, owed, "released")
    move(county, row, "cleared", reason="It was groundsel.")
    promise(county, row, 1.0)


def test_a_blend_weighs_its_parts_and_remembers_them(county):
    old = lot(county, "Old", 500.0, provenance="Inner Sands", harvested_on="2024-07-20", gbp_per_kg=100.0)
    new = lot(county, "New", 700.0, provenance="Outer Banks", harvested_on="2026-07-20", gbp_per_kg=40.0)
    mixed = blend(county, "For the bank", (new, 300.0), (old, 100.0))
    assert totals(mixed) == (400_000, 400_000, 0, 0)
    assert (totals(old)[1], totals(new)[1]) == (400_000, 400_000)
    assert (mixed.origin, mixed.harvested_on, mixed.provenance) == (
        "blended", date(2024, 7, 20), "Outer Banks; Inner Sands",
    )  # fmt: skip
    # (300 x 40 + 100 x 100) / 400 = 55
    assert mixed.price_pence_per_kg == 5500
    assert [(part.parent, part.amount_mg) for part in LotPart.objects.filter(lot=mixed)] == [
        (new, 300_000),
        (old, 100_000),
    ]
    assert {(line.act, line.other) for line in SeedEntry.objects.filter(lot__in=[old, new], number=2)} == {
        ("blended", mixed)
    }
    assert lots_that_do_not_add_up() == []


def test_a_part_taken_off_keeps_where_it_is_from(county):
    row = lot(county, provenance="Inner Sands", harvested_on="2026-07-20", storage="Barn")
    jar = split(county, row, "Jar", 12.5)
    assert (jar.origin, jar.provenance, jar.harvested_on, jar.storage) == (
        "split", "Inner Sands", date(2026, 7, 20), "Barn",
    )  # fmt: skip
    assert (totals(jar)[0], totals(row)[1]) == (12_500, 987_500)


def test_damp_seed_is_not_blended(county):
    dry, damp = lot(county, "Dry"), lot(county, "Damp", state="drying")
    with pytest.raises(WrongState, match="damp seed heats"):
        blend(county, "Both", (dry, 1.0), (damp, 1.0))
    with pytest.raises(RuleBroken) as caught:
        blend(county, "Both", (dry, 1.0), (lot(county, "Little", 2.0), 2.5))
    assert fault(caught) == ("/parts/1/grams", "not_enough", "at most 2 g")


def test_history_is_written_once(county):
    row = lot(county)
    line = row.entries.get()
    line.amount_mg = 5
    with pytest.raises(StoredForGood):
        line.save()
    with pytest.raises(StoredForGood):
        line.delete()
    with pytest.raises(StoredForGood):
        SeedEntry.objects.filter(pk=line.pk).update(amount_mg=5)


def test_sent_twice_it_happens_once(county):
    row, key = lot(county), str(uuid.uuid4())
    for _ in range(2):
        move(county, row, "spilt", 10.0, reason="Wind.", submission_id=key)
        promise(county, row, 20.0, submission_id=key)
    owed = SeedPromise.objects.get()
    key = str(uuid.uuid4())
    for _ in range(2):
        promise_move(county, owed, "handed_over", 5.0, submission_id=key)
    for name in ("Jar", "Jar again"):
        split(county, row, name, 1.0, submission_id=str(uuid.UUID(int=1)))
    other = lot(county, "Other")
    for name in ("Blend", "Blend again"):
        blend(county, name, (row, 1.0), (other, 1.0), submission_id=str(uuid.UUID(int=2)))
    assert totals(row) == (1_000_000, 983_000, 15_000, 17_000)
    assert SeedLot.objects.count() == 4


def test_who_reads_and_who_moves(county):
    row = lot(county)
    owed = promise(county, row, 1.0)
    for who in ("member", "lead", "neighbour", "coordinator"):
        assert lot_get(county.as_(getattr(county, who)), row.public_id) == row
    for who in ("stranger", "operator"):
        with pytest.raises(NotFound):
            lot_get(county.as_(getattr(county, who)), row.public_id)
    with pytest.raises(NotFound):
        promise_get(county.as_(county.neighbour), owed.public_id)
    for who in ("member", "lead", "neighbour"):
        with pytest.raises(NotAllowed):
            lots.lot_move(
                actor=county.as_(getattr(county, who)), public_id=row.public_id,
                asked=LotMove(act="spilt", grams=1.0, reason="x"), if_version=None, now=NOW,
            )  # fmt: skip


def test_a_change_says_which_version_it_was_made_to(county):
    row = lot(county)
    coordinator = county.as_(county.coordinator)
    changed = lots.lot_change(
        actor=coordinator, public_id=row.public_id, asked=LotChange(storage="Barn"), if_version=1, now=NOW
    )
    assert (changed.version, changed.storage, changed.made_mg) == (2, "Barn", 1_000_000)
    with pytest.raises(Stale):
        lots.lot_change(
            actor=coordinator, public_id=row.public_id, asked=LotChange(storage="Loft"), if_version=1, now=NOW
        )


def test_only_groups_of_the_network_and_their_own_projects(county):
    row = lot(county)
    project = county.projects["Verge of the sea road"]
    with pytest.raises(NotFound):
        promise(county, row, 1.0, project_id=str(project.public_id))
    assert promise(county, row, 1.0, county.groups[VERGES], project_id=str(project.public_id)).project == project
    assert promise(county, row, 1.0).group == county.groups[MAKERS]


def test_a_day_to_come_is_refused(county):
    row = lot(county)
    tomorrow = (NOW.date() + timedelta(days=1)).isoformat()
    with pytest.raises(RuleBroken) as caught:
        move(county, row, "used", 1.0, on=tomorrow)
    assert fault(caught)[:2] == ("/on", "in_future")


@pytest.mark.parametrize(
    ("kind", "values", "expected"),
    [
        (LotMove, {"act": "used"}, [("", "missing")]),
        (LotMove, {"act": "held"}, [("", "missing")]),
        (LotMove, {"act": "held", "grams": 1.0, "reason": "x"}, [("", "contradiction")]),
        (LotMove, {"act": "used", "grams": 0.0005}, [("/grams", "out_of_range")]),
        (LotMove, {"act": "used", "grams": 1.0005}, [("/grams", "not_whole_milligrams")]),
        (LotMove, {"act": "used", "grams": -1.0}, [("/grams", "out_of_range")]),
        (LotMove, {"act": "eaten"}, [("/act", "unknown_word")]),
        (
            LotNew,
            {
                "network_id": str(uuid.UUID(int=1)), "name": "a", "origin": "bought", "grams": 1.0,
                "declared": [{"taxon": "a", "percent": 60.0}, {"taxon": "b", "percent": 60.0}],
            },
            [("", "out_of_range")],
        ),
        (
            LotBlend,
            {"name": "a", "parts": [{"lot_id": str(uuid.UUID(int=1)), "grams": 1.0}] * 2},
            [("", "twice")],
        ),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_at_its_field(kind, values, expected):
    with pytest.raises(RequestRefused) as told:
        read_as(kind, values)
    assert [(error.pointer, error.code) for error in told.value.errors] == expected


# ------------------------------------------------------------------ whatever is done, in whatever order

WEIGHTS = st.integers(1, 60_000).map(lambda mg: mg / 1000)
WHICH = st.integers(0, 20)
DEEDS = st.one_of(
    st.tuples(st.sampled_from(["used", "spilt", "discarded", "dried", "cleaned", "promise", "split"]), WHICH, WEIGHTS),
    st.tuples(st.sampled_from(["handed_over", "released", "returned", "sown"]), WHICH, WEIGHTS | st.none()),
    st.tuples(st.sampled_from(["held", "cleared"]), WHICH),
    st.tuples(st.just("blend"), WHICH, WHICH, WEIGHTS, WEIGHTS),
)
REFUSALS = (RuleBroken, WrongState)


def do(county, number, deed):
    """Do it to one of the lots or promises there are; a refusal is as good as the act."""
    name, which, *amounts = deed
    rows, owed = list(SeedLot.objects.order_by("pk")), list(SeedPromise.objects.order_by("pk"))
    try:
        if name in {"handed_over", "released", "returned", "sown"}:
            if owed:
                promise_move(county, owed[which % len(owed)], name, *amounts)
        elif name == "blend":
            first, second = rows[which % len(rows)], rows[amounts[0] % len(rows)]
            if first != second:
                blend(county, f"Blend {number}", (first, amounts[1]), (second, amounts[2]))
        elif name == "split":
            split(county, rows[which % len(rows)], f"Part {number}", *amounts)
        elif name == "promise":
            promise(county, rows[which % len(rows)], *amounts)
        else:
            move(county, rows[which % len(rows)], name, *amounts, reason="Because.")
    except REFUSALS:
        pass


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(deeds=st.lists(DEEDS, min_size=5, max_size=25))
def test_no_sequence_of_acts_makes_or_loses_seed(county, deeds):
    SeedEntry.objects.all()._raw_delete("default")
    LotPart.objects.all()._raw_delete("default")
    SeedPromise.objects.all().delete()
    SeedLot.objects.all().delete()
    lot(county, "One", 50.0)
    lot(county, "Two", 30.0, state="fresh")
    lot(county, "Three", 20.0)
    for number, deed in enumerate(deeds):
        do(county, number, deed)
    # derivation: all that came from outside is still in a lot, out with a group, or left by an act that says so
    left_for_good = SeedEntry.objects.filter(act__in=["used", "spilt", "discarded", "dried", "cleaned"])
    gone = sum(-line.balance_change_mg for line in left_for_good)
    out = sum(row.out_mg + row.sown_mg for row in SeedPromise.objects.all())
    rows = list(SeedLot.objects.all())
    assert sum(row.balance_mg for row in rows) + gone + out == 100_000
    assert all(0 <= row.promised_mg <= row.balance_mg for row in rows)
    assert lots_that_do_not_add_up() == []
    for row in rows:
        lines = list(entries_of(row))
        assert [line.number for line in lines] == list(range(1, row.entries_numbered + 1))
        balance = promised = 0
        for line in lines:
            balance, promised = balance + line.balance_change_mg, promised + line.promised_change_mg
            assert (line.balance_mg, line.promised_mg) == (balance, promised)


def test_an_id_that_another_act_used_is_told_so_and_nothing_is_divided(county):
    row, key = lot(county), str(uuid.uuid4())
    move(county, row, "spilt", 10.0, reason="Wind.", submission_id=key)
    with pytest.raises(WrongState, match="used for another act"):
        split(county, row, "A part of it", 1.0, submission_id=key)
    assert not SeedLot.objects.filter(name="A part of it").exists()
    assert lots_that_do_not_add_up() == []
