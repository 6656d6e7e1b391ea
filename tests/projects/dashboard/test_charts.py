"""Charts are well-formed SVG at two widths, with a title, a description, legible text and nothing inline."""

from xml.etree import ElementTree

import pytest

from projects.dashboard import charts

SVG = "{http://www.w3.org/2000/svg}"


def year(label, middle):
    return charts.FanYear(
        label, middle - 3, middle - 1, middle, middle + 1, middle + 3, middle - 4, middle - 1, middle + 2
    )


CHARTS = {
    "claims": charts.bars(
        "h",
        "Claimed and modelled",
        [charts.Bar("Seed", 40, 55, 70, "£90", claimed=90.0)],
        axis="Cash, with VAT",
        legend={"a": "modelled", charts.CLAIMED: "claimed"},
    ),
    "frontier": charts.frontier(
        "i",
        "Every sum",
        [charts.Sum(500.0, 1.0), charts.Sum(1000.0, 2.0, open_=True)],
        y_title="Hectares",
        x_title="The sum",
        write=lambda pounds: f"£{pounds:.0f}",
    ),
    "bars": charts.bars(
        "a",
        "Cash <by> line",
        [charts.Bar("Seed & sand", 40, 55, 70, "£40 to £70"), charts.Bar("Tea", 2, None, 2, "£2")],
        axis="Cash, with VAT",
        legend={"a": "of what grows", "b": "of the cost"},
    ),
    "fan": charts.fan(
        "b",
        "Species",
        [year("2027", 6), year("2028", 8)],
        y_title="Species",
        main="Kept",
        other="Usual",
        lines={9: "nine"},
    ),
    "fan walked": charts.fan(
        "g",
        "Species",
        [year("2027", 6), year("2028", 8)],
        y_title="Species",
        main="Kept",
        other="Usual",
        lines={9: "nine"},
        walked=[charts.Walked("2028", 5, 4, 6, 7.5), charts.Walked("2040", 1, 1, 1, 1)],
    ),
    "fan of one year": charts.fan(
        "c", "Species", [year("2027", 6)], y_title="Species", main="Kept", other="Usual", lines={9: "nine"}
    ),
    "ages": charts.ages(
        "h",
        "Kinds",
        [charts.AgeFound("1", 7.0, None, None, None), charts.AgeFound("2", 9.0, -1.0, 21.0, (5.0, 8.0, 12.0))],
        y_title="Kinds",
        x_title="Years since sowing",
        lines={9: "nine"},
    ),
    "strips": charts.strips(
        "d",
        "Species",
        ["1", "2"],
        [charts.Strip("Meadow crane's-bill", [0.2, 0.5], [0, 0.4])],
        seen="seen",
        flower="flower",
    ),
    "months": charts.months(
        "e", "Hours", [charts.MonthHours(2026, 12, 3.3), charts.MonthHours(2027, 1, 0)], axis="Person-hours"
    ),
    "year": charts.year(
        "f", "Every year", [charts.Stretch("Cut", (8, 20), (8, 20)), charts.Stretch("Graze", (11, 1), (1, 28))]
    ),
}


def drawn(name):
    narrow, wide = ElementTree.fromstring(f"<both>{CHARTS[name]}</both>")  # noqa: S314 - our own
    return {360: narrow, 720: wide}


@pytest.mark.parametrize("name", CHARTS)
@pytest.mark.parametrize("width", [360, 720])
def test_each_chart_has_a_title_and_a_description_and_no_inline_style(name, width):
    svg = drawn(name)[width]
    assert (svg.get("role"), svg.get("width")) == ("img", str(width))
    named = [part.get("id") for part in svg if part.tag in {f"{SVG}title", f"{SVG}desc"}]
    assert svg.get("aria-labelledby").split() == named
    assert all(part.text for part in svg if part.tag in {f"{SVG}title", f"{SVG}desc"})
    assert not [part for part in svg.iter() if part.get("style") or part.tag == f"{SVG}style"]


@pytest.mark.parametrize("name", CHARTS)
@pytest.mark.parametrize("width", [360, 720])
def test_nothing_is_drawn_outside(name, width):
    svg = drawn(name)[width]
    tall = float(svg.get("height"))
    for part in svg.iter():
        for x, y in (("x", "y"), ("x1", "y1"), ("x2", "y2"), ("cx", "cy")):
            if part.get(x) is not None:
                assert 0 <= float(part.get(x)) <= width
                assert 0 <= float(part.get(y)) <= tall


def test_words_are_escaped():
    assert "Seed &amp; sand" in CHARTS["bars"]
    assert "Cash &lt;by&gt; line" in CHARTS["bars"]


def test_a_bar_is_as_long_as_its_range():
    svg = drawn("bars")[720]
    seed = [part for part in svg.iter(f"{SVG}rect") if part.get("height") == "12"][2]
    # The axis runs from 250 to 590 for 0 to 80 pounds.
    assert float(seed.get("x")) == 250 + 40 * 340 / 80
    assert float(seed.get("width")) == pytest.approx((70 - 40) * 340 / 80, abs=0.05)


def test_the_area_of_a_circle_is_the_share():
    circles = list(drawn("strips")[720].iter(f"{SVG}circle"))[2:]
    radii = [float(part.get("r")) for part in circles]
    # Seen in year 1 and 2, in flower in year 2: 0.2, 0.5 and 0.4 of the full circle of radius 13.
    assert [(radius / 13) ** 2 for radius in radii] == pytest.approx([0.2, 0.5, 0.4], abs=0.01)


def test_a_stretch_over_the_turn_of_the_year_is_drawn_in_two_halves():
    marks = list(drawn("year")[360].iter(f"{SVG}rect"))
    assert [float(mark.get("x")) for mark in marks][1:] == [300.0, 0.0]


@pytest.mark.parametrize(
    ("top", "marks"), [(0, [0, 1]), (17, [0, 5, 10, 15, 20]), (149, [0, 50, 100, 150]), (0.9, [0, 0.5, 1])]
)
def test_ticks_are_round_and_reach_the_top(top, marks):
    assert charts.ticks(top) == pytest.approx(marks)


@pytest.mark.parametrize("width", [360, 720])
def test_what_was_walked_lies_at_its_height_and_only_in_the_summers_of_the_fan(width):
    svg = drawn("fan walked")[width]
    ticks = {
        float(text.text): float(text.get("y")) - 4.5
        for text in svg.iter(f"{SVG}text")
        if text.get("class") == "tick" and float(text.text) < 2000
    }
    per_species = (ticks[0] - ticks[5]) / 5
    (line,) = [part for part in svg.iter(f"{SVG}line") if part.get("class") == "walked"][1:]
    heights = [(ticks[0] - float(line.get(end))) / per_species for end in ("y1", "y2")]
    assert heights == pytest.approx([4, 7.5], abs=0.05)
    (dot,) = [part for part in svg.iter(f"{SVG}circle") if part.get("class") == "walked-dot"][1:]
    assert (ticks[0] - float(dot.get("cy"))) / per_species == pytest.approx(6, abs=0.05)
    (square,) = [part for part in svg.iter(f"{SVG}rect") if part.get("class") == "found"][1:]
    assert (ticks[0] - float(square.get("y")) - 3.5) / per_species == pytest.approx(5, abs=0.05)
    assert "Found in 2028: 5" in next(svg.iter(f"{SVG}desc")).text


def test_what_is_claimed_lies_on_the_scale_of_the_bars_even_beyond_them():
    """Ticks run to £100 over 340 pixels from 6: £90 lies at 6 + 0.9 * 340 = 312, and the lozenge is 12 wide."""
    narrow = drawn("claims")[360]
    marks = [path for path in narrow.iter(f"{SVG}path") if path.get("class") == "claimed"]
    assert len(marks) == 2
    assert marks[-1].get("d").startswith("M312.0 ")


def test_the_best_of_each_sum_is_drawn_as_stairs():
    """A sum buys what less buys until more is known: across first, then up; 500 of 1,000 is halfway of 44 to 326."""
    narrow = drawn("frontier")[360]
    (stairs,) = [path.get("d") for path in narrow.iter(f"{SVG}path")]
    xs = [float(step[1:].split()[0]) for step in stairs.replace("L", "|L").replace(" |", "|").split("|")]
    assert xs == [44.0, 185.0, 185.0, 326.0, 326.0]
    dots = [circle.get("class") for circle in narrow.iter(f"{SVG}circle")]
    assert dots == ["walked-dot", "other-dot"]
