"""The invented county's seed store goes through the services like any other, and answers as a coordinator expects."""

import json
from datetime import UTC, datetime, time

import pytest

from projects.models import DonorMeadow, Group, LotCount, SeedLot, SeedPromise, Village
from projects.selectors.contents import contents_now
from projects.selectors.lots import lots_that_do_not_add_up
from projects.services import demo, demo_seed
from tests.projects.county import NOW

pytestmark = pytest.mark.django_db
RATTLE = "rhinanthus_minor"


class Story:
    """As much of the county as seed needs."""

    def __init__(self, county):
        self.network = county.network
        self.coordinator = county.as_(county.coordinator)
        seed = demo._table("seed.json")
        wanted = {promise["group"] for row in seed["lots"] for promise in row["promises"]}
        self.groups = {name: Group.objects.create(network=county.network, name=name, created_at=NOW) for name in wanted}
        self.sites = dict.fromkeys(
            (row["site"] for row in seed["donors"] if "site" in row), county.sites["Long Paddock"]
        )
        self.villages = {
            row["village"]: Village.objects.create(
                network=county.network, name=row["village"], easting_m=598_000, northing_m=435_000
            )
            for row in seed["donors"]
            if "village" in row
        }

    def actor(self, key):
        return self.coordinator


@pytest.fixture
def store(county):
    acts = demo_seed.acts(Story(county), demo._table("seed.json"))
    for act in sorted(acts, key=lambda act: act.on):
        act.do(datetime.combine(act.on, time(18), tzinfo=UTC))
    return {row.name: row for row in SeedLot.objects.all()}


def test_twelve_lots_of_five_donors_all_counted(store):
    assert (len(store), DonorMeadow.objects.count()) == (12, 5)
    assert all(row.counts.exists() for row in store.values())
    assert {row.state for row in store.values()} == {"dry", "drying"}
    assert {row.origin for row in store.values()} == {"harvested", "bought", "given", "blended", "split"}
    assert [name for name, row in store.items() if row.held_at is not None] == ["Walled field 2026"]
    assert SeedPromise.objects.filter(handed_mg__gt=0).count() == 2
    assert lots_that_do_not_add_up() == []
    assert all(contents_now(row, datetime(2026, 11, 25, tzinfo=UTC).date()).kinds for row in store.values())


def test_the_coordinators_sack(store):
    count = LotCount.objects.get(lot=store["Saltern Fold 2026"])
    told = json.loads(count.answer)["taxa"][0]
    # Garwood (1936) for 71 seeds in 6 g: 55.45 and 89.56; of 18.4 kg
    assert (told["seeds_per_gram"]["low"], told["seeds_per_gram"]["high"]) == (
        pytest.approx(55.45 / 6, abs=0.005), pytest.approx(89.56 / 6, abs=0.005),
    )  # fmt: skip
    assert told["seeds_in_sack"]["low"] == pytest.approx(170_000, rel=0.005)
    assert told["seeds_in_sack"]["high"] == pytest.approx(274_700, rel=0.005)
    assert told["mass_percent"]["low"] < 3.0 < told["mass_percent"]["high"]


def test_the_blend_is_counted_and_close_to_what_its_parts_say(store):
    mixed, today = store["For damp banks"], datetime(2026, 11, 25, tzinfo=UTC).date()
    counted = {kind.taxon: kind for kind in contents_now(mixed, today).kinds}
    parts = {kind.taxon: kind for kind in contents_now(store["Beck Ings 2026"], today).kinds}
    # derivation: 3,000 of 3,150 g are from there
    whole = parts[RATTLE].seeds_per_g[1] * 3000 / 3150
    assert counted[RATTLE].seeds_per_g[0] < whole < counted[RATTLE].seeds_per_g[2] * 1.2
