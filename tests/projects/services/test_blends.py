"""A blend for a churchyard from the store, with what is missing bought, which then goes into its plan."""

import json

import pytest

from modelling.contracts.blends import BlendAnswer, BlendWanted
from modelling.errors import RequestRefused
from modelling.models import ModelRun
from modelling.reading import read_as
from projects.contracts.meadows import PlanNew
from projects.errors import NotAllowed
from projects.selectors.blends import blend_for, free_lots
from projects.services import meadows
from tests.projects.county import NOW
from tests.projects.seed import lot, move, promise
from tests.projects.services.test_counts import RATTLE, SIX, count

pytestmark = pytest.mark.django_db
KNAPWEED, MARIGOLD = "centaurea_nigra", "caltha_palustris"
YEWS = "Under the yews"


def asked(county, who="lead", **wanted):
    project = county.projects[YEWS]
    found = blend_for(county.as_(getattr(county, who)), project, read_as(BlendWanted, wanted), NOW.date())
    BlendAnswer.model_validate(found)
    return found


def reached(found):
    return {one["target"]: one for one in found["reached"]}


def test_what_is_free_goes_in_and_the_rest_is_bought(county):
    sack = lot(county, grams=2000.0)
    count(county, sack, *SIX)
    found = asked(county, rattle_live_per_m2=50.0, forbs_live_per_m2=20.0, top_ups=[KNAPWEED])
    assert found["feasible"]
    items = {item["lot"] or item["taxon"]: item for item in found["items"]}
    assert set(items) == {str(sack.public_id), KNAPWEED}
    assert items[KNAPWEED]["packs"]
    # derivation: 50 live seeds on 180 m2 from a sack of 71 / 6 seeds a gram, of which half to all are alive
    assert 50 * 180 / (71 / 6) <= items[str(sack.public_id)]["kg"] * 1000 <= 50 * 180 / (71 / 6) * 2
    assert all(one["missed_by"] == 0 for one in found["reached"])


def test_it_goes_into_the_plan_as_it_is(county):
    sack = lot(county, grams=2000.0)
    count(county, sack, *SIX)
    found = asked(county, rattle_live_per_m2=50.0, forbs_live_per_m2=0.0)
    lead, project = county.as_(county.lead), county.projects[YEWS]
    plan = read_as(PlanNew, {"plan": {"seed": found["seed"]}})
    meadows.plan_create(actor=lead, project_id=project.public_id, asked=plan, if_version=None, now=NOW)
    forecast = meadows.forecast_create(actor=lead, project_id=project.public_id, now=NOW)
    answer = json.loads(ModelRun.objects.get(pk=forecast.run_id).answer)
    live = next(t for t in answer["seed"]["taxa"] if t["taxon"] == RATTLE)["live_seeds_per_m2"]
    assert live["p10"] < 50 < live["p90"]
    assert live["mean"] == pytest.approx(50.0, rel=0.1)


def test_what_is_promised_on_hold_or_damp_stays_out(county):
    free, held, damp, gone = (lot(county, name, 100.0) for name in ("Free", "Held", "Damp", "Gone"))
    move(county, held, "held", reason="Ragwort.")
    promise(county, gone, 100.0)
    promise(county, free, 40.0)
    damp = lot(county, "Wet", 100.0, state="drying")
    coordinator = county.as_(county.coordinator)
    assert {row.name for row in free_lots(coordinator, county.network.pk)} == {"Free", "Damp"}
    count(county, free, *SIX)
    found = asked(county, rattle_live_per_m2=1000.0, forbs_live_per_m2=0.0)
    assert [(item["lot"], item["kg"]) for item in found["items"]] == [(str(free.public_id), 0.06)]
    assert not found["feasible"]
    missed = reached(found)["rattle"]
    assert missed["missed_by"] == pytest.approx(1000.0 - missed["live_per_m2"], rel=1e-4)
    assert "No blend of these meets the target for yellow rattle" in found["sentences"][1]
    assert damp.balance_mg == 100_000


def test_targets_that_are_not_said_come_from_the_tables(county):
    found = asked(county, top_ups=[RATTLE, KNAPWEED])
    told = {name: (one["least"], one["most"], one["assumed"]) for name, one in reached(found).items()}
    # harvest_values: strong grass, as of rank grass; other flowers; most grass
    assert told == {"rattle": (150.0, None, True), "forbs": (300.0, None, True), "grass": (None, 500.0, True)}


def test_a_plant_of_the_wet_is_not_counted_on_dry_ground(county):
    county.sites["Churchyard of Gullhaven"].wetness = "dry"
    county.projects[YEWS].site.wetness = "dry"
    found = asked(county, rattle_live_per_m2=0.0, forbs_live_per_m2=10.0, top_ups=[MARIGOLD])
    assert (found["left_out"], found["items"]) == ([MARIGOLD], [])
    assert reached(found)["forbs"]["missed_by"] == 10.0


def test_what_is_not_known_is_refused_and_strangers_are_not_answered(county):
    with pytest.raises(RequestRefused) as caught:
        asked(county, mixes=["seaside"], top_ups=["urtica_dioica"], taxa=[{"taxon": "x", "live_per_m2": 1.0}])
    assert [error.pointer for error in caught.value.errors] == ["/mixes/0", "/top_ups/0", "/taxa/0/taxon"]
    with pytest.raises(NotAllowed):
        asked(county, who="neighbour")
