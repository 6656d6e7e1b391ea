"""Invented bids of one round, for the tests: one in order, and others that each have something to look at."""

from typing import Any

ROUND: dict[str, Any] = {
    "money_from": "2027-02-01",
    "earliest_start": "2027-02-01",
    "latest_end": "2029-12-31",
    "report_on": ["2028-12-01", "2029-12-01"],
    "least_aftercare_years": 5,
    "in_kind_rates": [
        {"skill": "unskilled", "pence_per_hour": 1271},
        {"skill": "skilled", "pence_per_hour": 2143},
    ],
    "most_volunteer_share_of_match": 1.0,
}
HELD = [
    {"label": key, "key": key, "standing": standing}
    for key, standing in (
        ("green_owner", "held"),
        ("green_registered", "held"),
        ("field_owner", "held"),
        ("field_tenant", "held"),
        ("field_scheme", "not_needed"),
        ("field_screening", "not_needed"),
        ("protected_site_consent", "not_needed"),
        ("scheduled_monument", "not_needed"),
        ("buried_services", "held"),
        ("access_rights", "held"),
    )
]


def line(category: str, net_pounds: float, *, vat: float = 0.2, **more: Any) -> dict[str, Any]:
    net, tax = round(net_pounds * 100), round(net_pounds * 100 * vat)
    return {
        "label": category.replace("_", " ").capitalize(),
        "category": category,
        "net_pence": net,
        "vat_pence": tax,
        "gross_pence": net + tax,
        **more,
    }


def hours(count: float, skill: str, pence: int) -> dict[str, Any]:
    return line("volunteers", count * pence / 100, vat=0, fund="in_kind", quantity=count, unit="h", skill=skill)


def superb() -> dict[str, Any]:
    """240 m2 of a village green: tested, looked at, permitted, priced and promised with care."""
    return {
        "as_of": "2026-10-05",
        "projects": [
            {
                "key": "green",
                "label": "The green's edge",
                "estimate": {
                    "site": {
                        "area_m2": 240, "kind": "green", "olsen_p_mg_per_l": 9, "soil_ph": 6.3, "wetness": "moist",
                        "shade": "sun", "sward": "short_turf", "last_use": "amenity", "existing_interest": "none",
                    },
                    "plan": {
                        "preparation": ["scarify_machine"],
                        "seed": [{"mix": "neutral_flowers_with_rattle", "kg": 0.36}],
                        "sow_on": "2027-09-18",
                        "aftercare": {"cut_on": "2027-08-10", "arisings": "removed", "disposal": "heap"},
                        "crew": {"volunteers": 8, "hours_per_session": 3},
                    },
                    "random_seed": 8,
                },
            }
        ],
        "lines": [
            line("seed", 104),
            line("hire", 185),
            line("fuel", 6),
            line("materials", 2),
            line("contingency", 18, vat=0),
            hours(16, "unskilled", 1271),
            hours(16, "skilled", 2143),
        ],
        "promises": [
            {"kind": "species_per_m2", "project": "green", "species_per_m2": 9, "by_year": 2030},
            {"kind": "hectares", "hectares": 0.024, "by_year": 2028},
            {"kind": "volunteer_hours", "hours": 32},
            {"kind": "people", "people": 40},
        ],
        "aftercare_years": 10,
        "round": ROUND,
        "permissions": HELD,
        "record": {"returns_due": 3, "returns_agreed": 3},
    }  # fmt: skip


def field() -> dict[str, Any]:
    """1.2 ha of a field by contractor, all in order: the others begin from it."""
    bid = superb()
    bid["projects"] = [
        {
            "key": "field",
            "label": "Low field",
            "estimate": {
                "site": {
                    "area_m2": 12_000, "kind": "field", "olsen_p_mg_per_l": 12, "soil_ph": 6.2, "wetness": "moist",
                    "shade": "sun", "sward": "species_poor", "last_use": "hay", "existing_interest": "none",
                },
                "plan": {
                    "preparation": ["prepare_cut_tractor", "power_harrow_tractor"],
                    "seed": [{"mix": "neutral_meadow", "kg": 34}],
                    "sow_on": "2027-09-10",
                    "aftercare": {"cut_on": "2027-08-05", "arisings": "removed", "disposal": "farmer"},
                    "crew": {"volunteers": 10, "hours_per_session": 3},
                },
                "random_seed": 21,
            },
        }
    ]  # fmt: skip
    bid["promises"] = [{"kind": "species_per_m2", "project": "field", "species_per_m2": 8, "by_year": 2031}]
    bid["lines"] = [
        line("seed", 1_600),
        line("contractor", 1_850),
        line("materials", 80),
        line("contingency", 240, vat=0),
        hours(60, "unskilled", 1271),
        hours(40, "skilled", 2143),
    ]
    return bid


def forgetful() -> dict[str, Any]:
    """The field, cheap because nobody thought of the cuttings: no farmer takes them, and no tip is paid for."""
    bid = field()
    bid["projects"][0]["estimate"]["plan"]["aftercare"]["disposal"] = "green_waste"
    return bid


def hopeful() -> dict[str, Any]:
    """The green, with orchids promised for the second summer."""
    bid = superb()
    bid["promises"].append({"kind": "plant", "project": "green", "plant": "orchids", "by_year": 2029})
    return bid


def colourful() -> dict[str, Any]:
    """The green, sown with cornfield annuals only."""
    bid = superb()
    bid["projects"][0]["estimate"]["plan"]["seed"] = [{"mix": "cornfield_annuals", "kg": 0.5}]
    return bid
