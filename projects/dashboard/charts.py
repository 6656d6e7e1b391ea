"""Charts as SVG written by hand: drawn for 360 and for 720 pixels, one of which the style sheet shows.

Colours and strokes come from the style sheet by class, so that a chart obeys the strict policy and prints in black
and white. Each chart has a title and a description for those who do not see it; the table stands beside it on the page.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10, sqrt
from typing import Any

from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString, mark_safe

from projects.dashboard.words import MONTHS, figure

NARROW, WIDE = 360, 720
CLAIMED = "claimed"  # In a legend: the lozenge of what is claimed.
LINE = 17  # Height of a line of text at 13 px.
_CHARACTER, _BOLD = 6.6, 7.8  # Width of an average character at 13 px, on the generous side.


@dataclass(frozen=True)
class Bar:
    """A range with its middle, if it has one: one line of a bar chart. `shown` is what is written beside it.

    `claimed` is laid over it as a lozenge.
    """

    label: str
    low: float
    middle: float | None
    high: float
    shown: str
    tone: str = "a"
    claimed: float | None = None


@dataclass(frozen=True)
class FanYear:
    """One summer of a fan chart, and of the line drawn against it."""

    label: str
    p10: float
    p25: float
    p50: float
    p75: float
    p90: float
    other_p10: float
    other_p50: float
    other_p90: float


@dataclass(frozen=True)
class Walked:
    """What a summer's walk found, drawn on a fan: as found, and allowed for what was overlooked, with its range."""

    label: str
    found: float
    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class Strip:
    """One species over the years: shares of square metres where it is seen, and where it flowers."""

    label: str
    seen: Sequence[float]
    in_flower: Sequence[float]


@dataclass(frozen=True)
class MonthHours:
    """Work of one month, in person-hours or whatever the axis says."""

    year: int
    month: int
    hours: float


def element(name: str, *inside: Any, **attributes: Any) -> SafeString:
    """Return an SVG element; what is not already safe is escaped. A trailing _ and _ in names become - or nothing."""
    written = "".join(
        format_html(' {}="{}"', key.rstrip("_").replace("_", "-"), _number(value))
        for key, value in attributes.items()
        if value is not None
    )
    body = "".join(conditional_escape(part) for part in inside)
    return mark_safe(f"<{name}{written}>{body}</{name}>")  # noqa: S308 - every part was escaped above


def _number(value: Any) -> Any:
    return f"{value:.1f}".rstrip("0").rstrip(".") if isinstance(value, float) else value


def _text(x: float, y: float, words: str, *, anchor: str = "start", class_: str = "") -> SafeString:
    return element("text", words, x=x, y=y, text_anchor=anchor, class_=class_ or None)


def _line(x1: float, y1: float, x2: float, y2: float, class_: str) -> SafeString:
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, class_=class_)


def _path(points: Iterable[tuple[float, float]], class_: str, *, close: bool = False) -> SafeString:
    steps = " ".join(f"{'L' if i else 'M'}{x:.1f} {y:.1f}" for i, (x, y) in enumerate(points))
    return element("path", d=steps + ("Z" if close else ""), class_=class_)


def wrap(words: str, width: float) -> list[str]:
    """Return the lines of a text that fit so many pixels."""
    room = max(int(width / _CHARACTER), 8)
    lines: list[str] = []
    for word in words.split():
        if lines and len(lines[-1]) + 1 + len(word) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def ticks(top: float, wanted: int = 4) -> list[float]:
    """Return round numbers from 0 to just past `top`."""
    if top <= 0:
        return [0.0, 1.0]
    rough = top / wanted
    unit = 10.0 ** floor(log10(rough))
    step = next(m * unit for m in (1, 2, 5, 10) if m * unit >= rough * 0.999)
    return [i * step for i in range(ceil(top / step * 0.999) + 1)]


def _both(key: str, title: str, description: str, draw: Callable[[int], tuple[float, list[SafeString]]]) -> SafeString:
    """Return the chart at both widths."""
    drawn = []
    for name, width in (("narrow", NARROW), ("wide", WIDE)):
        height, parts = draw(width)
        drawn.append(
            element(
                "svg",
                element("title", title, id=f"{key}-{name}-title"),
                element("desc", description, id=f"{key}-{name}-desc"),
                *parts,
                xmlns="http://www.w3.org/2000/svg",
                role="img",
                viewBox=f"0 0 {width} {ceil(height)}",
                width=width,
                height=ceil(height),
                class_=f"chart chart-{name}",
                aria_labelledby=f"{key}-{name}-title {key}-{name}-desc",
            )
        )
    return mark_safe("".join(drawn))  # noqa: S308 - made of elements


def bars(
    key: str,
    title: str,
    rows: Sequence[Bar],
    *,
    axis: str,
    write: Callable[[float], str] = figure,
    legend: Mapping[str, str] | None = None,
) -> SafeString:
    """Return one ranged bar per row, from `low` to `high`, with a stroke at `middle`."""
    marks = ticks(max((max(row.high, row.claimed or 0.0) for row in rows), default=0.0))
    description = ". ".join(f"{row.label}: {row.shown}" for row in rows)

    def draw(width: int) -> tuple[float, list[SafeString]]:
        beside = width == WIDE
        left, right = (250.0, 590.0) if beside else (6.0, float(width - 14))
        scale = (right - left) / marks[-1]
        parts: list[SafeString] = []
        y = 4.0
        for tone, words in (legend or {}).items():
            parts += [
                _lozenge(left + 13, y + 8)
                if tone == CLAIMED
                else element("rect", x=left, y=y + 2, width=26, height=12, class_=f"bar bar-{tone}"),
                _text(left + 34, y + 13, words),
            ]
            y += LINE + 5
        top = y
        drawn: list[SafeString] = []
        for row in rows:
            label_width = left - 16 if beside else width - 24 - len(row.shown) * _BOLD
            lines = wrap(row.label, label_width)
            if beside:
                height = max(len(lines) * LINE, 20)
                middle = y + 6 + height / 2
                drawn += [
                    _text(0, middle + 4.5 + (i - (len(lines) - 1) / 2) * LINE, line) for i, line in enumerate(lines)
                ]
                drawn.append(_text(width, middle + 4.5, row.shown, anchor="end", class_="value"))
                y += height + 12
            else:
                drawn += [_text(left, y + 13 + i * LINE, line, class_="over") for i, line in enumerate(lines)]
                drawn.append(_text(width - 4, y + 13, row.shown, anchor="end", class_="value over"))
                middle = y + len(lines) * LINE + 11
                y += len(lines) * LINE + 30
            drawn += _bar(row, left, middle, scale)
        for mark in marks:
            x = left + mark * scale
            parts.append(_line(x, top, x, y, "grid"))
            parts.append(_text(x, y + 15, write(mark), anchor="middle" if mark else "start", class_="tick"))
        parts += drawn
        for line in wrap(axis, width - left):
            parts.append(_text(left, y + 34, line, class_="axis"))
            y += LINE
        return y + 25, parts

    return _both(key, title, description, draw)


def _bar(row: Bar, left: float, middle: float, scale: float) -> list[SafeString]:
    start, end = left + row.low * scale, left + row.high * scale
    drawn = [
        element("rect", x=start, y=middle - 6, width=max(end - start, 2.0), height=12, class_=f"bar bar-{row.tone}")
    ]
    if row.middle is not None:
        drawn.append(_line(left + row.middle * scale, middle - 8, left + row.middle * scale, middle + 8, "middle"))
    if row.claimed is not None:
        drawn.append(_lozenge(left + row.claimed * scale, middle))
    return drawn


def _lozenge(x: float, y: float) -> SafeString:
    return _path([(x, y - 8), (x + 6, y), (x, y + 8), (x - 6, y)], "claimed", close=True)


def fan(
    key: str,
    title: str,
    years: Sequence[FanYear],
    *,
    y_title: str,
    main: str,
    other: str,
    lines: Mapping[float, str],
    walked: Sequence[Walked] = (),
) -> SafeString:
    """Return a forecast as a fan (80 % and 50 % bands, median), and a second one as a broken line with whiskers.

    What was walked is laid over it, where its summer is one of the fan's.
    """
    tops = [*(max(year.p90, year.other_p90) for year in years), *(at + 1 for at in lines), *(w.high for w in walked)]
    marks = ticks(max(tops))
    description = (
        f"{main}: "
        + "; ".join(
            f"{year.label} {figure(year.p10)} to {figure(year.p90)}, middle {figure(year.p50)}" for year in years
        )
        + f". {other}, middle: "
        + ", ".join(figure(year.other_p50) for year in years)
        + "."
        + "".join(
            f" Found in {w.label}: {figure(w.found)}, allowed for what was overlooked {figure(w.low)} to "
            f"{figure(w.high)}."
            for w in walked
        )
    )

    def draw(width: int) -> tuple[float, list[SafeString]]:
        beside = width == WIDE
        left, right, tall = (34.0, width - 110.0, 300.0) if beside else (34.0, width - 24.0, 250.0)
        parts: list[SafeString] = []
        y = 4.0
        for name, words in (
            ("band-80", f"{main}: 8 in 10 outcomes"),
            ("band-50", f"{main}: the middle half"),
            ("median", f"{main}: the middle"),
            ("other", f"{other}: the middle, and 8 in 10 outcomes"),
            *((("walked", "Walked: allowed for what was overlooked"), ("found", "Walked: as found")) if walked else ()),
        ):
            parts += _sample(name, y)
            for line in wrap(words, width - 38):
                parts.append(_text(38, y + 12, line))
                y += LINE
            y += 3
        if not beside:
            # No room for words at the lines themselves, so they bear their numbers there.
            parts += [_line(0, y + 7, 30, y + 7, "threshold"), _text(38, y + 12, " and ".join(lines.values()))]
            y += LINE + 3
        parts.append(_text(0, y + 20, y_title, class_="axis"))
        top = y + 34
        bottom = top + tall
        step = (right - left) / max(len(years), 1)
        xs = [left + (i + 0.5) * step for i in range(len(years))]
        scale = tall / marks[-1]

        def at(value: float) -> float:
            return bottom - value * scale

        for mark in marks:
            parts += [
                _line(left, at(mark), right, at(mark), "grid"),
                _text(left - 6, at(mark) + 4.5, figure(mark), anchor="end", class_="tick"),
            ]
        parts += _bands(years, xs, step, at)
        parts += [_line(left, at(value), right, at(value), "threshold") for value in lines]
        for x, year in zip(xs, years, strict=True):
            shift = x + min(step * 0.16, 9)
            parts.append(_line(shift, at(year.other_p10), shift, at(year.other_p90), "whisker"))
        moved_xs = [x + min(step * 0.16, 9) for x in xs]
        parts.append(_path([(x, at(year.other_p50)) for x, year in zip(moved_xs, years, strict=True)], "other"))
        parts += [
            element("circle", cx=x, cy=at(year.other_p50), r=4, class_="other-dot")
            for x, year in zip(moved_xs, years, strict=True)
        ]
        parts += _walked(years, walked, xs, min(step * 0.16, 9), at)
        parts += [
            _text(right + 5, at(value) + 4.5, words if beside else figure(value), class_="value")
            for value, words in lines.items()
        ]
        every = 1 if step >= 40 else 2
        for i, (x, year) in enumerate(zip(xs, years, strict=True)):
            if i % every == 0:
                parts.append(_text(x, bottom + 16, year.label, anchor="middle", class_="tick"))
        parts.append(_text(left, bottom + 36, "Summer", class_="axis"))
        return bottom + 44, parts

    return _both(key, title, description, draw)


def _sample(name: str, y: float) -> list[SafeString]:
    """Return what stands in the legend of a fan for one of its marks."""
    if name.startswith("band"):
        return [element("rect", x=0, y=y, width=30, height=14, class_=name)]
    if name == "found":
        return [element("rect", x=11.5, y=y + 3.5, width=7, height=7, class_="found")]
    if name == "walked":
        return [_line(15, y, 15, y + 14, "walked"), element("circle", cx=15, cy=y + 7, r=4, class_="walked-dot")]
    drawn = [_line(0, y + 7, 30, y + 7, name)]
    if name == "other":
        drawn += [_line(15, y, 15, y + 14, "whisker"), element("circle", cx=15, cy=y + 7, r=4, class_="other-dot")]
    return drawn


def _walked(
    years: Sequence[FanYear],
    walked: Sequence[Walked],
    xs: Sequence[float],
    shift: float,
    at: Callable[[float], float],
) -> list[SafeString]:
    """Return what was found in each summer: a dot with its range, and beside it a square for what was written down."""
    places = {year.label: x - shift for x, year in zip(xs, years, strict=True)}
    parts = []
    for one in walked:
        x = places.get(one.label)
        if x is not None:
            parts += [
                _line(x, at(one.low), x, at(one.high), "walked"),
                element("rect", x=x - 3.5, y=at(one.found) - 3.5, width=7, height=7, class_="found"),
                element("circle", cx=x, cy=at(one.middle), r=4, class_="walked-dot"),
            ]
    return parts


def _bands(
    years: Sequence[FanYear], xs: Sequence[float], step: float, at: Callable[[float], float]
) -> list[SafeString]:
    """Return the fan itself; a single year gets a little width to be seen."""
    if len(years) == 1:
        xs = [xs[0] - min(step / 4, 20), xs[0] + min(step / 4, 20)]
        years = [years[0], years[0]]
    pairs = list(zip(xs, years, strict=True))
    parts = []
    for low, high, name in (("p10", "p90", "band-80"), ("p25", "p75", "band-50")):
        there = [(x, at(getattr(year, high))) for x, year in pairs]
        back = [(x, at(getattr(year, low))) for x, year in reversed(pairs)]
        parts.append(_path([*there, *back], name, close=True))
    parts.append(_path([(x, at(year.p50)) for x, year in pairs], "median"))
    return parts


def strips(key: str, title: str, years: Sequence[str], rows: Sequence[Strip], *, seen: str, flower: str) -> SafeString:
    """Return one row of circles per species: the ring's area is the share seen, the disc's the share in flower."""
    description = ". ".join(
        f"{row.label}: {', '.join(f'{round(share * 100)} in 100' for share in row.seen)}" for row in rows
    )

    def draw(width: int) -> tuple[float, list[SafeString]]:
        left = 240.0 if width == WIDE else 128.0
        step = (width - left) / len(years)
        largest = min(step / 2 - 1, 13.0)
        parts: list[SafeString] = []
        y = 4.0
        for share, words in ((1.0, seen), (0.0, flower)):
            parts += [
                element("circle", cx=largest, cy=y + 8, r=largest * 0.8, class_="ring" if share else "disc"),
                _text(largest * 2 + 8, y + 12, words),
            ]
            y += max(LINE, largest * 1.6) + 6
        y += LINE
        every = 1 if step >= 30 else 2
        for i, year in enumerate(years):
            if i % every == 0:
                parts.append(_text(left + (i + 0.5) * step, y, year, anchor="middle", class_="tick"))
        y += 6
        for row in rows:
            lines = wrap(row.label, left - 8)
            height = max(len(lines) * LINE, largest * 2) + 5
            middle = y + height / 2
            parts.append(_line(0, y, width, y, "grid"))
            parts += [_text(0, middle + 4.5 + (i - (len(lines) - 1) / 2) * LINE, line) for i, line in enumerate(lines)]
            for i, (share, flowering) in enumerate(zip(row.seen, row.in_flower, strict=True)):
                x = left + (i + 0.5) * step
                # Area is what the eye compares, so the radius grows with the root of the share.
                if share >= 0.01:
                    parts.append(element("circle", cx=x, cy=middle, r=largest * sqrt(share), class_="ring"))
                if flowering >= 0.01:
                    parts.append(element("circle", cx=x, cy=middle, r=largest * sqrt(flowering), class_="disc"))
            y += height
        return y + 4, parts

    return _both(key, title, description, draw)


def months(key: str, title: str, rows: Sequence[MonthHours], *, axis: str) -> SafeString:
    """Return work month by month, each column labelled."""
    top = max((row.hours for row in rows), default=0.0) or 1.0
    worked = [row for row in rows if row.hours > 0]
    description = ". ".join(f"{MONTHS[row.month - 1]} {row.year}: {figure(row.hours)}" for row in worked)

    def draw(width: int) -> tuple[float, list[SafeString]]:
        tall, base = 90.0, 128.0
        step = width / max(len(rows), 1)
        parts = [_text(0, 14, axis, class_="axis"), _line(0, base, width, base, "ground")]
        for i, row in enumerate(rows):
            x = i * step
            if row.hours > 0:
                height = max(row.hours / top * tall, 2.0)
                parts += [
                    element(
                        "rect",
                        x=x + step * 0.12,
                        y=base - height,
                        width=step * 0.76,
                        height=height,
                        class_="bar bar-a",
                    ),
                    _text(x + step / 2, base - height - 4, figure(row.hours, 1), anchor="middle", class_="tick"),
                ]
            parts.append(_text(x + step / 2, base + 15, MONTHS[row.month - 1][0], anchor="middle", class_="tick"))
            if row.month == 1 or i == 0:
                parts += [
                    _line(x, base, x, base + 36, "grid"),
                    _text(x + 3, base + 33, str(row.year), class_="tick"),
                ]
        return base + 40, parts

    return _both(key, title, description, draw)


@dataclass(frozen=True)
class Stretch:
    """Something that is done every year, from one day to another: months 1 to 12 and days."""

    label: str
    first: tuple[int, int]
    last: tuple[int, int]


def year(key: str, title: str, rows: Sequence[Stretch]) -> SafeString:
    """Return a year as a strip of twelve months, a mark or a bar for each thing that is done every year."""
    description = ". ".join(
        f"{row.label}: {row.first[1]} {MONTHS[row.first[0] - 1]} to {row.last[1]} {MONTHS[row.last[0] - 1]}"
        for row in rows
    )

    def draw(width: int) -> tuple[float, list[SafeString]]:
        beside = width == WIDE
        left = 250.0 if beside else 0.0
        step = (width - left) / 12
        parts: list[SafeString] = []
        y = 22.0
        drawn: list[SafeString] = []
        for row in rows:
            lines = wrap(row.label, left - 28 if beside else width)
            if beside:
                height = max(len(lines) * LINE, 22.0)
                middle = y + 6 + height / 2
                drawn += [
                    _text(0, middle + 4.5 + (i - (len(lines) - 1) / 2) * LINE, line) for i, line in enumerate(lines)
                ]
                y += height + 10
            else:
                drawn += [_text(0, y + 14 + i * LINE, line) for i, line in enumerate(lines)]
                middle = y + len(lines) * LINE + 12
                y += len(lines) * LINE + 26
            start, end = (left + (month - 1 + (day - 1) / 31) * step for month, day in (row.first, row.last))
            # A stretch over the turn of the year is drawn in its two halves.
            halves = [(start, end)] if end >= start else [(start, float(width)), (left, end)]
            drawn += [
                element("rect", x=a, y=middle - 6, width=max(b - a, 8.0), height=12, class_="bar bar-a")
                for a, b in halves
            ]
        for month in range(12):
            x = left + month * step
            parts += [
                _line(x, 20, x, y, "grid"),
                _text(x + step / 2, 14, MONTHS[month][: 3 if beside else 1], anchor="middle", class_="tick"),
            ]
        return y + 4, [*parts, _line(left, 20, width, 20, "ground"), *drawn]

    return _both(key, title, description, draw)


@dataclass(frozen=True)
class Sum:
    """One sum of money and the most it could buy; `open_` where that is not proven."""

    pounds: float
    value: float
    open_: bool = False


def frontier(
    key: str, title: str, points: Sequence[Sum], *, y_title: str, x_title: str, write: Callable[[float], str]
) -> SafeString:
    """Return the best value at every sum: dots on stairs, since a sum buys what less buys until more is known.

    An open dot is one where the best is not proven.
    """
    across, up = (ticks(max((getattr(point, name) for point in points), default=0.0)) for name in ("pounds", "value"))
    description = "; ".join(f"{write(point.pounds)}: {figure(point.value, 3)}" for point in points)

    def draw(width: int) -> tuple[float, list[SafeString]]:
        left, right, tall = 44.0, width - 34.0, 260.0 if width == WIDE else 220.0
        parts: list[SafeString] = []
        y = 4.0
        for line in wrap(y_title, width):
            parts.append(_text(0, y + 12, line, class_="axis"))
            y += LINE
        top = y + 8
        bottom = top + tall

        def at(point: Sum) -> tuple[float, float]:
            return (
                left + point.pounds / across[-1] * (right - left),
                bottom - point.value / up[-1] * tall,
            )

        for mark in up:
            y_mark = bottom - mark / up[-1] * tall
            parts += [
                _line(left, y_mark, right, y_mark, "grid"),
                _text(left - 6, y_mark + 4.5, figure(mark), anchor="end", class_="tick"),
            ]
        for mark in across:
            x = left + mark / across[-1] * (right - left)
            parts.append(_text(x, bottom + 16, write(mark), anchor="middle", class_="tick"))
        stairs = [(left, bottom)]
        for point in points:
            x, y_at = at(point)
            stairs += [(x, stairs[-1][1]), (x, y_at)]
        parts.append(_path(stairs, "median"))
        for point in points:
            x, y_at = at(point)
            parts.append(element("circle", cx=x, cy=y_at, r=4.5, class_="other-dot" if point.open_ else "walked-dot"))
        parts.append(_text(left, bottom + 36, x_title, class_="axis"))
        return bottom + 44, parts

    return _both(key, title, description, draw)


@dataclass(frozen=True)
class AgeFound:
    """Meadows of one age: what was found, with its interval where there are two sites, beside what was forecast."""

    label: str
    found: float | None
    low: float | None
    high: float | None
    forecast: tuple[float, float, float] | None


def ages(
    key: str, title: str, rows: Sequence[AgeFound], *, y_title: str, x_title: str, lines: Mapping[float, str]
) -> SafeString:
    """Return what was found by age as dots with intervals, over boxes of what was forecast with their middle."""
    tops = [*(row.forecast[2] for row in rows if row.forecast), *(value for row in rows for value in _seen(row))]
    marks = ticks(max([*tops, *(at + 1 for at in lines)]))
    description = "; ".join(f"{row.label}: {_age_words(row)}" for row in rows)
    legend = (
        ("band-80", "Forecast: 8 in 10 meadows, and the middle"),
        ("walked", "Found: the mean of sites, 95 % sure"),
    )

    def draw(width: int) -> tuple[float, list[SafeString]]:
        beside = width == WIDE
        left, right, tall = (34.0, width - 110.0, 280.0) if beside else (34.0, width - 24.0, 230.0)
        parts: list[SafeString] = []
        y = 4.0
        for name, words in legend:
            parts += [*_sample(name, y), _text(38, y + 12, words)]
            y += LINE + 3
        if not beside:
            parts += [_line(0, y + 7, 30, y + 7, "threshold"), _text(38, y + 12, " and ".join(lines.values()))]
            y += LINE + 3
        parts.append(_text(0, y + 20, y_title, class_="axis"))
        bottom = y + 34 + tall
        step = (right - left) / max(len(rows), 1)
        scale = tall / marks[-1]
        for mark in marks:
            at = bottom - mark * scale
            parts += [
                _line(left, at, right, at, "grid"),
                _text(left - 6, at + 4.5, figure(mark), anchor="end", class_="tick"),
            ]
        for number, row in enumerate(rows):
            x = left + (number + 0.5) * step
            half = min(step * 0.3, 22.0)
            if row.forecast:
                low, middle, high = (bottom - value * scale for value in row.forecast)
                parts.append(
                    element("rect", x=x - half, y=high, width=2 * half, height=max(low - high, 1), class_="band-80")
                )
                parts.append(_line(x - half, middle, x + half, middle, "median"))
            if row.found is not None:
                if row.low is not None and row.high is not None:
                    parts.append(_line(x, bottom - max(row.low, 0.0) * scale, x, bottom - row.high * scale, "walked"))
                parts.append(element("circle", cx=x, cy=bottom - row.found * scale, r=4.5, class_="walked-dot"))
            parts.append(_text(x, bottom + 16, row.label, anchor="middle", class_="tick"))
        parts += [_line(left, bottom - value * scale, right, bottom - value * scale, "threshold") for value in lines]
        parts += [
            _text(right + 5, bottom - value * scale + 4.5, words if beside else figure(value), class_="value")
            for value, words in lines.items()
        ]
        parts.append(_text(left, bottom + 36, x_title, class_="axis"))
        return bottom + 44, parts

    return _both(key, title, description, draw)


def _seen(row: AgeFound) -> list[float]:
    return [value for value in (row.found, row.high) if value is not None]


def _age_words(row: AgeFound) -> str:
    said = "nothing counted" if row.found is None else f"found {figure(row.found)}"
    if row.low is not None and row.high is not None:
        said += f", {figure(max(row.low, 0.0))} to {figure(row.high)}"
    if row.forecast:
        said += f"; forecast {figure(row.forecast[0])} to {figure(row.forecast[2])}, middle {figure(row.forecast[1])}"
    return said
