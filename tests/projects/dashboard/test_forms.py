"""The plan form: what people type becomes the request that the API takes; what is wrong stands beside its field."""

import pytest
from django.http import QueryDict
from hypothesis import assume, example, given
from hypothesis import strategies as st

from modelling import services
from modelling.errors import FieldError
from projects.dashboard.forms.plan import POINTERS, PlanForm


def form(query):
    return PlanForm(QueryDict(query))


def asked(query):
    filled = form(query)
    assert filled.is_valid(), filled.errors
    services.read_estimate(filled.asked())
    return filled.asked()


def errors(query):
    return {name: list(found) for name, found in form(query).errors.items()}


def test_the_area_alone_is_the_smallest_request():
    assert asked("area_m2=180") == {"site": {"area_m2": 180.0}}


def test_what_is_left_empty_is_not_sent():
    assert asked("area_m2=180&kind=&soil_ph=&sow_on=&mix_1=&mix_1_g=&cut_month=") == {"site": {"area_m2": 180.0}}


def test_the_whole_form_becomes_one_request():
    request = asked(
        "area_m2=1,800&net_area_m2=1500&kind=churchyard&sward=rank_grass&last_use=unmanaged&soil_p_index=1&soil_ph=6.5"
        "&wetness=moist&shade=sun&slope_degrees=3&gate_width_m=1.2&standing_crop_g_per_m2=350"
        "&resident_species_per_m2=6&distance_to_flower_rich_m=2 km&existing_interest=orchids&existing_interest=waxcaps"
        "&preparation=prepare_cut_strimmer&preparation=scarify_machine"
        "&mix_1=neutral_meadow&mix_1_g=1.2 kg&mix_3=robust_flowers&mix_3_g=300&taxon_2=Yellow Rattle&taxon_2_g=75"
        "&plug_1=Primula veris&plug_1_count=40&sow_on=2026-09-20&shut_up_on=2027-03-15"
        "&first_year_cuts=2&cut_month=8&cut_month_2=10&arisings=removed&disposal=heap"
        "&grazing=sheep&graze_from=10&graze_to=12&fence=yes&water=no&grazier=yes&refuge_percent=10"
        "&volunteers=8&hours_per_session=3&budget_gbp=£150&kit_to_hand=pedestrian_scarifier"
        "&horizon_years=6&draws=500&quadrat_area_m2=2&random_seed=7&world_seed=9&as_of=2026-08-01"
    )
    assert request == {
        "site": {
            "area_m2": 1800.0,
            "net_area_m2": 1500.0,
            "kind": "churchyard",
            "sward": "rank_grass",
            "last_use": "unmanaged",
            "soil_p_index": 1,
            "soil_ph": 6.5,
            "wetness": "moist",
            "shade": "sun",
            "slope_degrees": 3.0,
            "gate_width_m": 1.2,
            "standing_crop_g_per_m2": 350.0,
            "resident_species_per_m2": 6.0,
            "distance_to_flower_rich_m": 2000.0,
            "existing_interest": ["orchids", "waxcaps"],
        },
        "plan": {
            "preparation": ["prepare_cut_strimmer", "scarify_machine"],
            "seed": [
                {"mix": "neutral_meadow", "kg": 1.2},
                {"mix": "robust_flowers", "kg": 0.3},
                {"taxon": "rhinanthus_minor", "kg": 0.075},
            ],
            "plugs": [{"taxon": "primula_veris", "count": 40}],
            "sow_on": "2026-09-20",
            "aftercare": {
                "first_year_cuts": 2,
                "shut_up_on": "2027-03-15",
                "cut_month": [8, 10],
                "arisings": "removed",
                "disposal": "heap",
                "aftermath_grazing": {
                    "by": "sheep",
                    "from_month": 10,
                    "to_month": 12,
                    "fence": True,
                    "water": False,
                    "grazier": True,
                },
                "refuge_share": 0.1,
            },
            "crew": {"volunteers": 8, "hours_per_session": 3.0},
            "kit_to_hand": ["pedestrian_scarifier"],
            "budget_gbp": 150.0,
        },
        "horizon_years": 6,
        "draws": 500,
        "quadrat_area_m2": 2.0,
        "random_seed": 7,
        "world_seed": 9,
        "as_of": "2026-08-01",
    }


def test_nothing_is_not_the_same_as_not_said():
    plan = asked("area_m2=180&preparation=none&sowing=nothing&cut_month=none")["plan"]
    assert plan == {"preparation": [], "seed": [], "plugs": [], "aftercare": {"cut_month": []}}


@pytest.mark.parametrize(
    ("typed", "m2"),
    [("180", 180), (" 0.9 ", 0.9), (".9", 0.9), ("1,800", 1800), ("2 ha", 20_000), ("2.5ha", 25_000), ("180 m²", 180)],
)
def test_areas_are_read_with_their_unit(typed, m2):
    assert form("").fields["area_m2"].clean(typed) == m2


@pytest.mark.parametrize(
    "typed", ["1,5", "1.800,5", "about 180", "2 acres", "1e3", "nan", "inf", "--1", "180\0", "9" * 400, "٣"]
)
def test_what_is_no_number_is_refused_not_guessed(typed):
    query = QueryDict(mutable=True)
    query["area_m2"] = typed
    filled = PlanForm(query)
    assert "area_m2" in filled.errors
    assert filled["area_m2"].value() == typed


def test_an_error_says_what_was_read_and_what_would_be_right():
    assert errors("area_m2=lots&volunteers=8.5") == {
        "area_m2": ["“lots” is not a number; write one such as 180 or 0.9, with m² or ha after it if you like."],
        "volunteers": ["“8.5” is not a whole number; write one such as 180."],
    }


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ("kind=churchyard", "area_m2"),
        ("area_m2=180&olsen_p_mg_per_l=20&soil_p_index=2", "soil_p_index"),
        ("area_m2=180&net_area_m2=200", "net_area_m2"),
        ("area_m2=180&mix_2=neutral_meadow", "mix_2_g"),
        ("area_m2=180&taxon_1_g=20", "taxon_1"),
        ("area_m2=180&plug_1=primula_veris", "plug_1_count"),
        ("area_m2=180&preparation=none&preparation=scarify_rake", "preparation"),
        ("area_m2=180&sowing=nothing&mix_1=neutral_meadow&mix_1_g=200", "sowing"),
        ("area_m2=180&cut_month_2=10", "cut_month_2"),
        ("area_m2=180&graze_from=9", "grazing"),
        ("area_m2=180&area_m2=200", "area_m2"),
        ("area_m2=180&kind=castle", "kind"),
        ("area_m2=180&sow_on=20/9/2026", "sow_on"),
    ],
)
def test_contradictions_and_gaps_stand_beside_their_field(query, field):
    assert list(errors(query)) == [field]


@pytest.mark.parametrize(
    ("pointer", "field"),
    [
        ("/site/area_m2", "area_m2"),
        ("/plan/seed/1/kg", "taxon_3_g"),
        ("/plan/seed/0/mix", "mix_2"),
        ("/plan/seed/1", "taxon_3"),
        ("/plan/plugs/0/count", "plug_1_count"),
        ("/plan/preparation/0", "preparation"),
        ("/plan/aftercare/cut_month/1", "cut_month_2"),
        ("/plan/aftercare/aftermath_grazing", "__all__"),
        ("", "__all__"),
    ],
)
def test_a_refusal_of_the_service_finds_its_field(pointer, field):
    filled = form(
        "area_m2=180&mix_2=neutral_meadow&mix_2_g=200&taxon_3=yellow rattle&taxon_3_g=20&plug_1=cowslip&plug_1_count=9"
        "&cut_month=7&cut_month_2=9"
    )
    assert filled.is_valid()
    filled.add_refusals([FieldError(pointer, "some_code", "Something is wrong.")])
    assert list(filled.errors) == [field]


def test_an_unknown_plant_is_answered_with_names_not_keys():
    filled = form("area_m2=180&taxon_1=yelow ratle&taxon_1_g=20")
    assert filled.is_valid()
    with pytest.raises(services.RequestRefused) as refused:
        services.read_estimate(filled.asked())
    filled.add_refusals(refused.value.errors)
    (text,) = filled.errors["taxon_1"]
    assert text.startswith(
        "No plant in our list is called “yelow ratle”. Did you mean yellow rattle (Rhinanthus minor)"
    )


@pytest.mark.parametrize(
    "name",
    ["yellow rattle", "Yellow-Rattle", "Rhinanthus minor", "rhinanthus_minor", "yellow rattle (Rhinanthus minor)"],
)
def test_a_plant_is_known_by_any_of_its_names(name):
    filled = form(f"area_m2=180&taxon_1={name}&taxon_1_g=20")
    assert filled.is_valid()
    assert filled.cleaned_data["taxon_1"] == "rhinanthus_minor"
    assert "taxon_1=rhinanthus_minor" in filled.query()


def test_a_plant_of_the_address_is_shown_by_its_name():
    assert 'value="meadow crane&#x27;s-bill (Geranium pratense)"' in str(form("taxon_1=geranium_pratense")["taxon_1"])


def test_the_address_is_rewritten_in_one_way():
    filled = form("volunteers=8&taxon_1_g=0.02 kg&area_m2=1,800 m2&taxon_1=Yellow rattle&kind=&fbclid=x")
    assert filled.is_valid()
    assert filled.query() == "area_m2=1800&taxon_1=rhinanthus_minor&taxon_1_g=20&volunteers=8&fbclid=x"
    assert filled.unknown == ["fbclid"]


@given(
    st.fixed_dictionaries(
        {"area_m2": st.floats(0.01, 1e6)},
        optional={
            "soil_ph": st.floats(3, 10),
            "mix_1": st.just("neutral_meadow"),
            "mix_1_g": st.floats(0.01, 1e8),
            "gate_width_m": st.floats(0.1, 30),
            "refuge_percent": st.floats(0, 50),
            "as_of": st.dates().map(str),
        },
    )
)
@example({"area_m2": 1.0, "refuge_percent": 1e-5})
@example({"area_m2": 1e6, "mix_1": "neutral_meadow", "mix_1_g": 1e8})
def test_rewriting_an_address_twice_changes_nothing_more(said):
    query = QueryDict(mutable=True)
    for name, value in said.items():
        query[name] = f"{value:f}" if isinstance(value, float) else value
    first = PlanForm(query)
    assume(first.is_valid())
    second = form(first.query())
    assert second.is_valid()
    assert second.query() == first.query()


def test_there_is_always_one_row_more_than_are_used():
    assert form("area_m2=1").rows == 4
    assert form("area_m2=1&mix_7=neutral_meadow&mix_7_g=2").rows == 8
    assert asked("area_m2=100&mix_7=neutral_meadow&mix_7_g=200")["plan"]["seed"] == [
        {"mix": "neutral_meadow", "kg": 0.2}
    ]


def test_a_large_whole_number_keeps_every_digit():
    filled = form("area_m2=1&random_seed=9223372036854775807")
    assert filled.is_valid()
    assert filled.asked()["random_seed"] == 2**63 - 1
    assert "random_seed=9223372036854775807" in filled.query()


def test_every_field_that_goes_straight_into_the_request_exists():
    assert set(POINTERS) <= set(form("").fields)
