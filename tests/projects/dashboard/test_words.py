"""Figures are said to two significant digits, with units, as ranges in words."""

import pytest

from modelling import wording
from projects.dashboard import words

SPACE = "\u00a0"


def plain(text):
    return text.replace(SPACE, " ")


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0, "0"),
        (0.0456, "0.046"),
        (0.9, "0.9"),
        (1.96, "2"),
        (12.4, "12"),
        (1234.5, "1,200"),
        (99.6, "100"),
        (-3.21, "-3.2"),
    ],
)
def test_a_figure_has_two_significant_digits(value, said):
    assert words.figure(value) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(12.2, 18.4, "12 to 18 kg"), (118, 122, "about 120 kg"), (0.3, 1.4, "0.3 to 1.4 kg")],
)
def test_a_range_whose_ends_look_alike_becomes_about(low, high, said):
    assert plain(words.span({"p10": low, "p90": high}, "kg")) == said


@pytest.mark.parametrize(
    ("low", "high", "said"), [(0.2, 0.35, "200 to 350 g"), (0.8, 1.4, "0.8 to 1.4 kg"), (0.003, 0.003, "about 3 g")]
)
def test_weights_are_in_grams_where_all_is_below_a_kilogram(low, high, said):
    assert plain(words.weight_span(low, high)) == said


@pytest.mark.parametrize(
    ("low", "high", "said"), [(9.2, 16.8, "9.2 to 17 person-hours"), (0.1, 0.22, "6 to 13 person-minutes")]
)
def test_little_work_is_in_minutes(low, high, said):
    assert plain(words.work_span({"p10": low, "p90": high})) == said


@pytest.mark.parametrize(
    ("low", "high", "said"), [(1, 1, "one day"), (2, 2.4, "two days"), (1, 3, "1 to 3 days"), (0, 0, "no days")]
)
def test_counted_things_are_whole(low, high, said):
    assert plain(words.whole_span({"p10": low, "p90": high}, "day", "days")) == said


@pytest.mark.parametrize(("m2", "said"), [(0.9, "0.9 m²"), (180, "180 m²"), (9999, "9,999 m²"), (20_000, "2 ha")])
def test_an_area_keeps_its_digits_and_turns_into_hectares(m2, said):
    assert plain(words.area(m2)) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (192.2, 308, "£190 to £310"),
        (8.39, 13.1, "£8 to £13"),
        (2.04, 4.85, "£2.00 to £4.80"),
        (9.96, 9.97, "about £10"),
        (0, 44, "£0 to £44"),
    ],
)
def test_money_has_no_pence_above_ten_pounds(low, high, said):
    assert words.pounds_between(low, high) == said


def test_no_money_is_nothing():
    assert words.money_span({"p10_gbp": 0.0, "p90_gbp": 0.0}) == "nothing"


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.001, "almost none"),
        (0.05, "about 1 in 20"),
        (0.79, "about 4 in 5"),
        (0.5, "about 1 in 2"),
        (0.99, "nearly certain"),
    ],
)
def test_chances_are_said_in_ordinary_words(share, said):
    assert plain(words.chance(share)) == said


@pytest.mark.parametrize("hundredths", range(3, 98))
def test_chances_agree_with_those_in_the_answers_own_sentences(hundredths):
    share = hundredths / 100
    assert plain(words.chance(share)) == wording.chance(share).removesuffix(" chance").replace("about a ", "about ")


@pytest.mark.parametrize(
    ("first", "last", "every_year", "said"),
    [
        ("2026-09-20", None, False, "20 September 2026"),
        ("2026-09-20", "2026-11-30", False, "20 September to 30 November 2026"),
        ("2026-12-20", "2027-01-05", False, "20 December 2026 to 5 January 2027"),
        ("2028-08-20", "2028-08-20", True, "20 August"),
        ("2028-09-01", "2028-12-28", True, "1 September to 28 December"),
    ],
)
def test_days_are_written_out(first, last, every_year, said):
    assert plain(words.days(first, last, every_year=every_year)) == said


def test_sentences_begin_with_a_capital_and_end():
    assert words.sentence("a walk-behind scarifier is to hand") == "A walk-behind scarifier is to hand."
    assert words.sentence("Why has it vanished?") == "Why has it vanished?"
    assert words.sentence("") == ""
