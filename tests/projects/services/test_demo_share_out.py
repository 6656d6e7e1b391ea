"""The invented county's season goes through the services like any other: nine meadows, twenty-three hopefuls."""

from datetime import UTC, datetime, time

import pytest

from projects.models import DonorMeadow, SeedWish, ShareOut, Village
from projects.selectors.share_outs import question_of
from projects.services import demo, demo_share_out
from tests.projects.county import NOW

pytestmark = pytest.mark.django_db


class Story:
    """As much of the county as a season needs: every project is the paddock's, which hopes once."""

    def __init__(self, county, tables):
        self.network, self.coordinator = county.network, county.as_(county.coordinator)
        named = [row["project"] for row in (*tables["wishes"], *tables["season"]["held"])]
        self.projects = dict.fromkeys(named, county.projects["Paddock to hay"])
        self.villages = {
            row["village"]: Village.objects.create(
                network=county.network, name=row["village"], easting_m=598_000, northing_m=435_000
            )
            for row in tables["donors"]
        }
        others = {row["donor"] for row in tables["season"]["harvests"]} - {row["name"] for row in tables["donors"]}
        for name in sorted(others):
            DonorMeadow.objects.create(
                network=county.network, name=name, habitat="dry", area_dm2=1_000_000, created_at=NOW, updated_at=NOW
            )

    def actor(self, key):
        return self.coordinator


def test_a_july_of_nine_meadows_fourteen_ripe_days_and_one_pin(county):
    tables = demo._table("share_out.json")
    story = Story(county, tables)
    for act in demo_share_out.acts(story, tables, "maud"):
        act.do(datetime.combine(act.on, time(18), tzinfo=UTC))

    row = ShareOut.objects.get()
    question, _ = question_of(row, NOW.date())
    assert (len(tables["wishes"]), len(question["harvests"]), len(question["pins"])) == (23, 9, 1)
    assert (min(one["first_day"] for one in question["harvests"]), question["machine"]["machines"]) == ("2027-07-05", 1)
    # 5 to 18 July
    assert max(one["last_day"] for one in question["harvests"]) == "2027-07-18"
    assert SeedWish.objects.count() == 1
    # the four new meadows may be taken from by a third
    shares = [one["allowed_share"] for one in question["donors"] if one["allowed_share"]]
    assert shares == [pytest.approx(1 / 3, abs=0.03)] * 4
