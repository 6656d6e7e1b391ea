"""A blend for a project's ground, asked on a page: the answer first, what is missed, and into the plan."""

import orjson
import pytest
from django.test import Client

from projects.models import PlanVersion
from tests.projects.county import saltmere
from tests.projects.seed import lot

pytestmark = pytest.mark.django_db
RATTLE = "rhinanthus_minor"


@pytest.fixture
def scene():
    county = saltmere(sown=False)
    client = Client()
    client.force_login(county.lead)
    project = county.projects["Paddock to hay"]
    return county, client, project, f"/projects/{project.public_id}/blend/"


def text(answer):
    return answer.content.decode()


def asked(client, page, **said):
    """The form as it is filled in, with something changed."""
    form = client.get(page).context["form"]
    filled = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    return filled | said


def test_targets_are_filled_in_by_the_tables_and_the_answer_says_so(scene):
    county, client, project, page = scene
    lot(county, "Rattle of the ness", 40_000.0, declared=[{"taxon": RATTLE, "percent": 90.0}])
    said = asked(client, page)
    assert float(said["forbs_live_per_m2"]) > 0
    shown = text(client.post(page, said))
    assert ", by the tables." in shown
    changed = text(client.post(page, said | {"forbs_live_per_m2": "1"}))
    assert "At least 1.<" in changed
    assert PlanVersion.objects.filter(project=project).count() == project.plans.count()


def test_what_no_blend_meets_is_told_by_which_and_how_much(scene):
    county, client, _, page = scene
    lot(county, "A pinch", 1.0, declared=[{"taxon": RATTLE, "percent": 90.0}])
    shown = text(client.post(page, asked(client, page)))
    assert "No blend of these meets the target for yellow rattle" in shown
    assert "short of what was aimed at" in shown


def test_the_blend_goes_into_the_plan_beside_what_it_says_already(scene):
    county, client, project, page = scene
    row = lot(county, "Rattle of the ness", 40_000.0, declared=[{"taxon": RATTLE, "percent": 90.0}])
    before = orjson.loads(project.plans.order_by("-number").first().plan)
    said = asked(client, page, forbs_live_per_m2="0")
    assert "Put it into the plan" in text(client.post(page, said))
    assert client.post(page, said | {"into_plan": "1"}).status_code == 302
    plan = orjson.loads(project.plans.order_by("-number").first().plan)
    assert [item["lot"] for item in plan["seed"]] == [str(row.public_id)]
    assert {name: plan[name] for name in before if name != "seed"} == {
        name: value for name, value in before.items() if name != "seed"
    }
    # the project has moved on since the form was filled in
    assert client.post(page, said | {"into_plan": "1"}).status_code == 409


def test_what_is_no_number_stands_beside_its_field(scene):
    _, client, _, page = scene
    answer = client.post(page, asked(client, page, forbs_live_per_m2="many"))
    assert answer.status_code == 422
    assert 'id="id_forbs_live_per_m2_error"' in text(answer)
    assert 'value="many"' in text(answer)
    assert client.post(page, asked(client, page, forbs_live_per_m2="-5")).status_code == 422


def test_a_member_asks_and_cannot_write_it_into_the_plan(scene):
    county, client, _, page = scene
    lot(county, "Rattle of the ness", 40_000.0, declared=[{"taxon": RATTLE, "percent": 90.0}])
    said = asked(client, page, forbs_live_per_m2="0")
    client.force_login(county.member)
    shown = text(client.post(page, said))
    assert "Weigh out" in shown
    assert "Put it into the plan" not in shown
    assert client.post(page, said | {"into_plan": "1"}).status_code == 403
