"""Ground by stage, each site once."""

from datetime import date

import pytest

from projects.models import MeadowProject, Site, StageChange
from projects.rules.access import PUBLIC_ACTOR
from projects.selectors.county_year import stages_by_year
from tests.projects.county import NOW

TODAY = date(2026, 9, 1)


@pytest.mark.parametrize(
    ("there", "beside", "told"),
    [
        ("aftercare", "planned", "aftercare"),
        ("sown", "idea", "sown"),
        ("failed", "planned", "planned"),
        ("lapsed", "prepared", "prepared"),
        ("planned", "aftercare", "aftercare"),
    ],
)
def test_a_plan_beside_a_meadow_takes_no_meadow_away(county, there, beside, told):
    site = Site.objects.get(name="Long Paddock")
    first = county.projects["Paddock to hay"]
    StageChange.objects.create(project=first, from_stage="sown", to_stage=there, on=TODAY)
    second = MeadowProject.objects.create(
        network=county.network, group=site.group, site=site, name="Beside it", stage="idea",
        stage_since=date(2026, 8, 2), created_at=NOW,
    )  # fmt: skip
    StageChange.objects.create(project=second, from_stage="idea", to_stage=beside, on=TODAY)
    found = stages_by_year(PUBLIC_ACTOR, county.network, [2026], TODAY)[0].hectares
    # the churchyard's 180 m2 are planned and the verge's 640 m2 an idea; the garden is private
    expected = {"planned": 0.018, "idea": 0.064}
    # Long Paddock, 100 m by 80 m
    expected[told] = expected.get(told, 0) + 0.8
    assert {stage: round(ha, 4) for stage, ha in found.items()} == pytest.approx(expected)
