"""An answer as plain text for a terminal, 80 columns wide: the answer first, then why, then the tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from textwrap import wrap
from typing import Any, Final

from modelling import wording

WIDTH: Final = 80
INDENT: Final = "  "
Answer = Mapping[str, Any]

_CHECKSUM_SHOWN: Final = 12
_STAGES: Final = (("setup", "to make it"), ("first_year", "in the first year"), ("yearly", "each later year"))
_SPREADS: Final = ("share_of_species_spread", "share_of_cost_spread")
_MINUTES: Final = 60
_KG: Final = 1000
_LITRES: Final = 1000
_LARGE_UNIT: Final = 0.1
_NO_KINDS: Final = 0.05


def estimate_text(answer: Answer) -> str:
    """The text of an answer shaped as `contracts.EstimateAnswer`; ends with a line break."""
    lines = [
        *_wrapped(answer["sentence"]),
        "",
        *_advice(answer),
        *_section("Seed to buy or bring", _seed(answer)),
        *_section("Hands and machines", _hands(answer)),
        *_section("Money", _money(answer["cost"])),
        *_section(_growth_title(answer), _growth(answer)),
        *_section("Yellow rattle", _rattle(answer)),
        *_section("Calendar", _calendar(answer)),
        *_section("Ask first, in writing", _permissions(answer)),
        *_section("Take care", _cautions(answer)),
        *_section("Look at again", _warnings(answer)),
        *_section("Not told, so taken as", _assumptions(answer)),
        *_section("What decides it", _drivers(answer)),
        "",
        *_recipe(answer["recipe"]),
    ]
    return "\n".join(lines) + "\n"


# ------------------------------------------------------------------ layout


def _wrapped(text: str, first: str = "", rest: str | None = None) -> list[str]:
    """Lines of at most 80 columns; a text without words is no line."""
    after = first if rest is None else rest
    return wrap(text, WIDTH, initial_indent=first, subsequent_indent=after, break_on_hyphens=False)


def _item(text: str) -> list[str]:
    return _wrapped(text, INDENT, INDENT * 2)


def _section(title: str, lines: Iterator[str]) -> Iterator[str]:
    """A title and its lines; nothing at all where there are no lines."""
    found = list(lines)
    if found:
        yield ""
        yield title
        yield "-" * len(title)
        yield from found


def _columns(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Rows as columns: the first to the left and cut into lines where long, the others to the right."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    left = min(widths[0], WIDTH - len(INDENT) - sum(2 + width for width in widths[1:]))
    for row in rows:
        cells = "".join(f"  {cell:>{width}}" for cell, width in zip(row[1:], widths[1:], strict=True))
        first, *more = wrap(row[0], left, subsequent_indent=INDENT, break_on_hyphens=False) or [""]
        yield f"{INDENT}{first:<{left}}{cells}".rstrip()
        for line in more:
            yield INDENT + line


# ------------------------------------------------------------------ words


def _span(draws: Answer, unit: str = "") -> str:
    return wording.between(draws["p10"], draws["p90"], unit)


def _whole_span(draws: Answer, one: str, many: str) -> str:
    """A range of things that come whole, such as sessions and hire days."""
    low, high = round(draws["p10"]), round(draws["p90"])
    if low == high:
        return f"{low:,} {one if low == 1 else many}"
    return f"{low:,} to {high:,} {many}"


def _pounds(money: Answer) -> str:
    return wording.pounds(money["p10_gbp"], money["p90_gbp"]) if money["p90_gbp"] else "nothing"


def _scaled(draws: Answer, large: str, small: str, factor: float) -> str:
    """A range in the smaller unit where the larger would show noughts only."""
    if draws["p90"] >= _LARGE_UNIT:
        return _span(draws, large)
    return wording.between(draws["p10"] * factor, draws["p90"] * factor, small)


def _person_hours(draws: Answer) -> str:
    if draws["p90"] >= 1:
        return _span(draws, "person-hours")
    return wording.between(draws["p10"] * _MINUTES, draws["p90"] * _MINUTES, "person-minutes")


def _percent(share: float) -> str:
    """A chance in whole per cent; neither none nor certainty is claimed from draws."""
    if share < 0.005:
        return "<1 %"
    if share > 0.995:
        return ">99 %"
    return f"{100 * share:.0f} %"


def _kinds(number: float) -> str:
    return "0" if number < _NO_KINDS else wording.figure(number)


def _kg(kg: float) -> str:
    return wording.weight(kg, kg)


def _short_day(iso: str) -> str:
    on = date.fromisoformat(iso)
    return f"{on.day} {on:%b %Y}"


def _lowered(text: str) -> str:
    return text[:1].lower() + text[1:]


# ------------------------------------------------------------------ sections


def _advice(answer: Answer) -> Iterator[str]:
    yield from _wrapped(answer["advice"]["sentence"])
    for reason in answer["advice"]["reasons"]:
        yield from _wrapped(reason, "- ", INDENT)


def _seed(answer: Answer) -> Iterator[str]:
    seed = answer["seed"]
    for line in seed["items"]:
        low, high = line["usual_g_per_m2"]
        usual = wording.between(low, high, "g/m²")
        yield from _item(
            f"{line['label']}: {_kg(line['kg'])}, that is {wording.figure(line['g_per_m2'])} g/m² (usual {usual}), "
            f"some {wording.figure(line['live_seeds_per_m2'])} live seeds per m²{_packs(line['packs'])}."
        )
    for plant in seed["taxa"]:
        if plant["plugs"]:
            yield from _item(f"Plugs of {plant['english_name']}: {plant['plugs']:,}.")
    if seed["carrier_kg"]:
        yield from _item(f"Mix it with {_kg(seed['carrier_kg'])} of dry sand, to sow it evenly.")
    if not seed["items"] and not any(plant["plugs"] for plant in seed["taxa"]):
        yield from _item("Nothing: this plan adds no seed.")


def _packs(packs: Sequence[Answer]) -> str:
    if not packs:
        return ""
    return "; buy " + wording.joined([f"{pack['count']:,.0f} × {_kg(pack['kg'])}" for pack in packs])


def _hands(answer: Answer) -> Iterator[str]:
    labour, machinery = answer["labour"], answer["machinery"]
    people = labour["volunteers"]
    crew = f"{people:,} {'person' if people == 1 else 'people'}"
    hours = wording.figure(labour["hours_per_session"])
    setup = _whole_span(labour["sessions_setup"], "session", "sessions")
    yearly = _whole_span(labour["sessions_yearly"], "session", "sessions")
    if labour["person_hours_setup"]["p90"]:
        yield from _item(f"{_person_hours(labour['person_hours_setup'])} to make it: {setup} of {hours} h for {crew}.")
    yield from _item(
        f"{_person_hours(labour['person_hours_first_year'])} in the first year, then "
        f"{_person_hours(labour['person_hours_yearly'])} each year: {yearly}."
    )
    yield from _item(f"Scale of the work: {machinery['scale']}, because {machinery['scale_reason']}.")
    for stage, title in _STAGES:
        tasks = [task for task in labour["tasks"] if task["stage"] == stage]
        if tasks:
            yield ""
            # a garden's few minutes would be thousandths of an hour
            small = max(task["person_hours"]["p90"] for task in tasks) < 1
            unit, factor = ("person-minutes", _MINUTES) if small else ("person-hours", 1)
            rows = [
                (task["label"], wording.between(*(factor * task["person_hours"][at] for at in ("p10", "p90"))))
                for task in tasks
            ]
            yield from _columns([(f"Work {title}", unit), *rows])
    if machinery["lines"]:
        yield ""
        titles = dict(_STAGES)
        for line in machinery["lines"]:
            yield from _item(f"{line['label']} {titles[line['stage']]}: {_machine(line)}.")
    heap = answer["arisings"]
    if heap["cuttings_m3_per_year"]["p90"] > 0:
        yield ""
        yield from _item(
            f"Cuttings each year: {_scaled(heap['cuttings_t_per_year'], 't', 'kg', _KG)}, "
            f"{_scaled(heap['cuttings_m3_per_year'], 'm³', 'litres', _LITRES)}. {heap['where']}."
        )
    if heap["spoil_m3"] is not None:
        yield from _item(f"Turf and soil taken off: {_span(heap['spoil_t'], 't')}, {_span(heap['spoil_m3'], 'm³')}.")


def _machine(line: Answer) -> str:
    parts = [f"{_span(line['hours'])} h running"] if line["hours"]["p90"] else []
    if line["contractor"]:
        parts.append("with its driver, by a contractor")
    elif line["to_hand"]:
        parts.append("to hand")
    else:
        parts.append(f"hired for {_whole_span(line['hire_days'], 'day', 'days')}")
    if line["share_between_people"] and line["share_between_people"] > 1:
        parts.append(f"it shakes, so share it between at least {wording.count(line['share_between_people'])} people")
    return ", ".join(parts)


def _money(cost: Answer) -> Iterator[str]:
    yield from _item(
        f"{_pounds(cost['setup_cash'])} in cash to make it, {_pounds(cost['first_year_cash'])} in the first year, "
        f"then {_pounds(cost['yearly_cash'])} a year; {_pounds(cost['whole_life_cash'])} over "
        f"{cost['whole_life_years']} years in today's money, discounted at {100 * cost['discount_rate']:.1f} % a year."
    )
    yield from _item(
        f"Beside it, in volunteers' time and borrowed kit: {_pounds(cost['setup_in_kind'])} to make it, then "
        f"{_pounds(cost['yearly_in_kind'])} a year."
    )
    if cost["chance_within_budget"] is not None:
        yield from _item(
            f"The chance that £{cost['budget_gbp']:,.2f} is enough to make it: ".replace(".00 ", " ")
            + f"{_percent(cost['chance_within_budget'])}."
        )
    for stage, title in _STAGES:
        lines = [line for line in cost["lines"] if line["stage"] == stage and line["kind"] == "cash"]
        if lines:
            yield ""
            rows = [
                (
                    line["label"],
                    f"{line['mean_gross_gbp']:,.2f}",
                    wording.between(line["p10_gross_gbp"], line["p90_gross_gbp"]),
                )
                for line in lines
            ]
            yield from _columns([(f"Cash {title}, £ with VAT", "mean", "10 to 90 %"), *rows])
    yield ""
    yield from _item(cost["note"])


def _growth_title(answer: Answer) -> str:
    square = answer["establishment"]["quadrat_area_m2"]
    where = "a square metre" if square == 1 else f"{wording.figure(square)} m²"
    return f"What will grow: kinds of plant in {where}"


def _growth(answer: Answer) -> Iterator[str]:
    made = answer["establishment"]
    where = "on the whole of it" if answer["plan"]["net_area_m2"] < 1 else "in a square metre"
    gap = "   "
    yield f"{INDENT}{'':11}{'If the plan is kept':^33}{gap}{'As groups usually manage':^31}".rstrip()
    head = f"{'10 %':>5}{'50 %':>6}{'90 %':>6}{'9 up':>7}{'15 up':>7}"
    yield f"{INDENT}{'Summer':11}{head}{gap}{head}"
    for kept, usual in zip(made["if_kept"]["by_year"], made["as_usual"]["by_year"], strict=True):
        year = f"{kept['year']:>2}, {kept['calendar_year']}"
        yield f"{INDENT}{year:11}{_growth_cells(kept)}{gap}{_growth_cells(usual)}"
    yield ""
    yield from _item(
        "10, 50 and 90 %: so many draws of a hundred lie below. 9 up, 15 up: the chance of nine or more, and of "
        f"fifteen or more, {where}. Counted are all flowering plants, grasses and sedges."
    )
    yield from _item(f"First summer: {_lowered(made['first_summer_colour'])}")
    for weeds in made["weeds_to_expect"]:
        yield from _item(f"Expect {weeds}.")


def _growth_cells(year: Answer) -> str:
    kinds = year["species_per_m2"]
    return (
        f"{_kinds(kinds['p10']):>5}{_kinds(kinds['p50']):>6}{_kinds(kinds['p90']):>6}"
        f"{_percent(year['chance_at_least_9']):>7}{_percent(year['chance_at_least_15']):>7}"
    )


def _rattle(answer: Answer) -> Iterator[str]:
    made = answer["establishment"]
    rows = [
        (
            f"{kept['year']:>2}, {kept['calendar_year']}",
            _percent(kept["rattle"]["chance_held"]),
            _percent(usual["rattle"]["chance_held"]),
            wording.between(*(round(kept["rattle"]["plants_per_m2"][at], 1) for at in ("p10", "p90"))),
        )
        for kept, usual in zip(made["if_kept"]["by_year"], made["as_usual"]["by_year"], strict=True)
        if kept["rattle"] and usual["rattle"]
    ]
    if rows:
        yield from _columns([("Summer", "there, if kept", "there, as usual", "plants per m², if kept"), *rows])


def _calendar(answer: Answer) -> Iterator[str]:
    for entry in answer["calendar"]:
        on = _short_day(entry["on"])
        until = "" if entry["until"] is None else f" until {_short_day(entry['until'])}"
        yearly = "; then every year" if entry["every_year"] else ""
        yield from _wrapped(f"{on:>11}  {entry['label']}{until}{yearly}", INDENT, " " * 15)


def _permissions(answer: Answer) -> Iterator[str]:
    for line in answer["permissions"]:
        yield from _item(f"{line['label']}: {_lowered(line['when'])}.")


def _cautions(answer: Answer) -> Iterator[str]:
    labels = [line["label"] for line in answer["cautions"]]
    if labels:
        yield from _wrapped("; ".join([labels[0], *(_lowered(label) for label in labels[1:])]) + ".", INDENT)
        yield from _wrapped(
            "General cautions: local rules and licensed practice come first. --json prints each in full.", INDENT
        )


def _warnings(answer: Answer) -> Iterator[str]:
    for line in answer["warnings"]:
        yield from _item(line["text"])


def _assumptions(answer: Answer) -> Iterator[str]:
    for line in answer["assumptions"]:
        yield from _item(f"{line['label']}: {line['value']} ({line['confidence']}).")


def _drivers(answer: Answer) -> Iterator[str]:
    rows = [
        (line["label"], *(_percent(line[key]) if line[key] else "" for key in _SPREADS)) for line in answer["drivers"]
    ]
    if rows:
        yield from _columns([("Share of the spread in", "species", "cost"), *rows])


def _recipe(recipe: Answer) -> list[str]:
    lowered = ", lowered to fit" if recipe["draws_lowered_to_fit"] else ""
    inputs, tables = (recipe[f"{name}_checksum"][:_CHECKSUM_SHOWN] for name in ("inputs", "reference"))
    return _wrapped(
        f"Recipe: release {recipe['release']}, model {recipe['model_version']}, as of {recipe['as_of']}, "
        f"{recipe['draws']:,} draws{lowered}, seeds {recipe['random_seed']} (site) and {recipe['world_seed']} (world), "
        f"inputs {inputs}, tables {tables}."
    )
