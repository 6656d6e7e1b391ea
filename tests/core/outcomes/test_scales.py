"""Scales: classes of cover with their middles, and classes of frequency that say nothing of cover."""

import re

import pytest

from modelling.core.outcomes import scales

CODES = {
    "domin": ["+", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10"],
    "braun_blanquet": ["r", "+", "1", "2", "3", "4", "5"],
    "dafor_cover": ["r", "o", "f", "a", "d"],
}


@pytest.mark.parametrize("scale", CODES)
def test_a_scale_of_cover_has_its_codes_in_rising_order(parameters, scale):
    assert scales.codes(parameters, scale) == CODES[scale]
    covers = [scales.cover_of(parameters, scale, code) for code in CODES[scale]]
    assert all(cover.low <= cover.middle <= cover.high <= 1 for cover in covers)
    assert [cover.middle for cover in covers] == sorted(cover.middle for cover in covers)


@pytest.mark.parametrize(
    ("scale", "code", "ends"),
    [
        # Rodwell, National Vegetation Classification
        ("domin", "4", (0.04, 0.07, 0.10)),
        ("domin", "7", (0.34, 0.42, 0.50)),
        ("domin", "10", (0.91, 0.955, 1.0)),
        ("braun_blanquet", "3", (0.25, 0.375, 0.50)),
        ("dafor_cover", "A", (0.51, 0.63, 0.75)),
        ("percent", " 40 % ", (0.4, 0.4, 0.4)),
        ("percent", "0", (0, 0, 0)),
        ("percent", "100", (1, 1, 1)),
    ],
)
def test_a_code_stands_for_its_range_of_cover(parameters, scale, code, ends):
    cover = scales.cover_of(parameters, scale, code)
    assert (cover.low, cover.middle, cover.high) == pytest.approx(ends)


@pytest.mark.parametrize("scale", ["presence", "dafor_frequency", "abundance"])
@pytest.mark.parametrize("code", ["", "a", "5", "lots"])
def test_presence_frequency_and_abundance_are_no_cover(parameters, scale, code):
    assert scales.cover_of(parameters, scale, code) is None


@pytest.mark.parametrize(
    ("scale", "code", "words"),
    [
        ("domin", "11", "it has +, 1, 2"),
        ("domin", "", "it has +"),
        ("braun_blanquet", "6", "it has r, +"),
        ("dafor_cover", "x", "it has r, o, f, a, d"),
        ("percent", "101", "no percentage from 0 to 100"),
        ("percent", "-1", "no percentage"),
        ("percent", "nan", "no percentage"),
        ("percent", "inf", "no percentage"),
        ("percent", "", "no percentage"),
    ],
)
def test_what_is_not_on_the_scale_is_refused_with_what_is(parameters, scale, code, words):
    with pytest.raises(ValueError, match=f"^{re.escape(repr(code))} .*{re.escape(words)}"):
        scales.cover_of(parameters, scale, code)


def test_two_domin_scores_are_averaged_by_their_middles_and_not_as_numbers(parameters):
    # Domin 2 and 8: middles 1 % and 63 %, so 32 %; Domin 5 would be 18 %
    low, high = (scales.cover_of(parameters, "domin", code).middle for code in ("2", "8"))
    assert (low + high) / 2 == pytest.approx(0.32)


@pytest.mark.parametrize(
    ("scale", "stops_of_ten", "word"),
    [
        # Farm Environment Plan handbook, section 4.1.1
        *[("fep_frequency", n, w) for n, w in enumerate(["", *["rare"] * 2, *["occasional"] * 2, *["frequent"] * 6])],
        # Common Standards Monitoring: over 40 % is frequent
        *[("csm_frequency", n, w) for n, w in enumerate(["", *["rare"] * 2, *["occasional"] * 2, *["frequent"] * 6])],
        # English Nature 2003: DAFOR by stops; dominant asks for cover too
        *[("dafor_frequency", n, w) for n, w in enumerate(["", "r", "o", "o", "f", "f", "f", "a", "a", "a", "a"])],
        *[
            ("nvc_constancy", n, w)
            for n, w in enumerate(["", "i", "i", "ii", "ii", "iii", "iii", "iv", "iv", "v", "v"])
        ],
    ],
)
def test_a_frequency_by_ten_stops(parameters, scale, stops_of_ten, word):
    assert scales.frequency_class(parameters, scale, stops_of_ten / 10) == word


def test_the_two_meanings_of_frequent_differ_between_four_and_five_stops_of_ten(parameters):
    # 9 of 20 stops: over 40 %, under half
    assert scales.frequency_class(parameters, "csm_frequency", 9 / 20) == "frequent"
    assert scales.frequency_class(parameters, "fep_frequency", 9 / 20) == "occasional"
