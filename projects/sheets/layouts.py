"""Where on a sheet the table stands, and how it is laid out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Final, Literal

from modelling.names import match
from projects.sheets.headings import label_of, role_of
from projects.sheets.tables import Cell, Row, Sheet, Value
from projects.sheets.values import amount_of

Kind = Literal["wide", "long", "transposed", "list", "work"]
ATTRIBUTES: Final = frozenset(
    {"bare_ground_percent", "litter_percent", "sward_height_cm", "rattle_plants", "forb_cover_percent"}
)
#: what each kind of table can use beside quadrats, plants and their names; other columns are kept as notes
_USED: Final[Mapping[str, frozenset[str]]] = {
    "wide": frozenset({"elsewhere", "cut", "rake", "graze"}),
    "long": frozenset({"quadrat", "date", "part", "scale", "value", "cut", "rake", "graze", *ATTRIBUTES}),
    "transposed": frozenset({"quadrat", "date", "cut", "rake", "graze", *ATTRIBUTES}),
    "list": frozenset({"date", "value", "cut", "rake", "graze"}),
    "work": frozenset({"what", "date", "hours", "heads", "money"}),
}
_ALWAYS: Final = frozenset({"name", "english", "latin", "note", "own", "meadow", "year", "surveyor", "total"})
#: rows from the top in which the headings must stand
MOST_ABOVE: Final = 60


@dataclass(frozen=True, slots=True)
class Layout:
    """How the table of a sheet is laid out: which column holds what."""

    kind: Kind
    heading: int
    """Number of the row of headings; 0 where there is none."""
    last_heading: int
    """The last row that belongs to the headings."""
    first_heading: int
    roles: Mapping[int, str] = field(default_factory=dict)
    """Column -> what it holds; quadrats and plants apart."""
    labels: Mapping[int, str] = field(default_factory=dict)
    """Wide: column -> quadrat."""
    plants: Mapping[int, Cell] = field(default_factory=dict)
    """Transposed: column -> heading with the plant's name."""

    guessed: bool = False
    """Wide: the headings of the quadrats do not look like quadrats."""

    def column(self, *roles: str) -> int | None:
        return next((column for role in roles for column, own in self.roles.items() if own == role), None)


def text_of(cell: Cell | None) -> str:
    """What a cell shows."""
    return "" if cell is None else _shown(cell.value)


@lru_cache(maxsize=20_000, typed=True)
def _shown(value: Value) -> str:
    if isinstance(value, float):
        return f"{value:.10g}"
    return " ".join(value.split()) if isinstance(value, str) else value.isoformat()


def _labels(row: Row | None) -> dict[int, str]:
    if row is None:
        return {}
    found = {cell.column: label_of(text_of(cell)) for cell in row.cells if not cell.joined and not cell.problem}
    labels = {column: label for column, label in found.items() if label is not None}
    # Bare figures are quadrats only where they count up; other figures are amounts.
    bare = [int(label) for label in labels.values() if label.isdigit()]
    if len(bare) == len(labels) and (len(bare) < 2 or bare != sorted(set(bare))):
        return {}
    return labels


def _roles(row: Row, skip: Iterable[int] = ()) -> dict[int, str]:
    out: dict[int, str] = {}
    for cell in row.cells:
        if cell.joined or cell.problem or cell.column in skip or not isinstance(cell.value, str):
            continue
        role = role_of(cell.value)
        if role:
            out[cell.column] = role
    return out


def _is_plant(cell: Cell) -> bool:
    text = text_of(cell)
    if cell.joined or not isinstance(cell.value, str) or not 2 <= len(text) <= 80 or label_of(text) or role_of(text):
        return False
    return match(text).status != "unknown"


def _holds_amounts(column: int, rows: Iterable[Row]) -> bool:
    cells = [cell for row in rows if (cell := row.at(column)) is not None and not cell.problem]
    return bool(cells) and all(amount_of(cell).kind != "other" for cell in cells)


def _wide(row: Row, above: Row | None, below: Row | None) -> tuple[int, Layout] | None:
    for labelled, first, last in ((row, row, row), (below, row, below), (above, above, row)):
        labels = _labels(labelled)
        if not labels or labelled is None or first is None or last is None:
            continue
        roles = _roles(row, labels)
        names = [column for column, role in roles.items() if role in {"name", "english", "latin"}]
        if not names:
            lettered = [column for column, label in labels.items() if not label.isdigit()]
            left = min(labels) - 1
            if labelled is not row or len(lettered) < 2 or left < 1 or left in roles:
                continue
            roles[left] = "name"
        elif labelled is above and any(role == "quadrat" for role in roles.values()):
            continue
        if labelled is below and any(
            column in names for column in (cell.column for cell in labelled.cells if not cell.joined)
        ):
            continue
        roles = {column: role for column, role in roles.items() if column not in labels}
        if labelled is above:
            roles = {column: role for column, role in roles.items() if role != "value"}
        layout = Layout("wide", row.number, last.number, first.number, roles, labels)
        return 1000 + min(len(labels), 99), layout
    return None


def _at(row: Row, above: Row | None, below: Row | None, rest: tuple[Row, ...]) -> tuple[int, Layout] | None:
    """The layout that a row would be the heading of, and how well it fits."""
    found = _wide(row, above, below)
    roles = _roles(row)
    named = {role: column for column, role in reversed(roles.items())}
    name = next((named[role] for role in ("name", "english", "latin") if role in named), None)
    if found is not None and not ("quadrat" in named and len(found[1].labels) < 2):
        return found
    if name is not None and "quadrat" in named:
        return 900 + len(roles), Layout("long", row.number, row.number, row.number, roles)
    plants = {cell.column: cell for cell in row.cells if _is_plant(cell)}
    if len(plants) >= 2 and name is None:
        first = named.get("quadrat", row.cells[0].column if row.cells[0].column not in plants else 0)
        if not first and min(plants) > 1:
            first = min(plants) - 1
        beside = [each.at(first) for each in rest[:20]]
        quadrats = [cell for cell in beside if cell is not None and label_of(text_of(cell))]
        if first and ("quadrat" in named or len(quadrats) >= 1):
            plants |= {
                cell.column: cell
                for cell in row.cells
                if cell.column not in {first, *roles, *plants} and not cell.joined and _holds_amounts(cell.column, rest)
            }
            roles = {column: role for column, role in roles.items() if column not in plants and column != first}
            roles[first] = "quadrat"
            return 800 + min(len(plants), 99), Layout(
                "transposed", row.number, row.number, row.number, roles, {}, plants
            )
    if "what" in named and "date" in named:
        return 700 + len(roles), Layout("work", row.number, row.number, row.number, roles)
    if name is not None:
        if row.cells[0].column == name and len(row.cells) == 1 and len(rest) == 0:
            return None
        others = {
            cell.column: text_of(cell)
            for cell in row.cells
            if cell.column not in roles and not cell.joined and not cell.problem and _holds_amounts(cell.column, rest)
        }
        if others:
            # Amounts under headings that nobody knows: quadrats most likely, and asked about.
            layout = Layout("wide", row.number, row.number, row.number, roles, others, guessed=True)
            return 400 + min(len(others), 99), layout
        return 300 + len(roles), Layout("list", row.number, row.number, row.number, roles)
    return None


def find_layout(sheet: Sheet) -> Layout | None:
    """Return how the table of a sheet is laid out, or None where no headings and no list of plants are found."""
    best: tuple[int, Layout] | None = None
    near = sheet.rows[:MOST_ABOVE]
    for index, row in enumerate(near):
        above = near[index - 1] if index and near[index - 1].number == row.number - 1 else None
        below = sheet.rows[index + 1] if index + 1 < len(sheet.rows) else None
        found = _at(row, above, below, sheet.rows[index + 1 : index + 21])
        if found is not None and (best is None or found[0] > best[0]):
            best = found
    if best is not None:
        layout = best[1]
        used = _USED[layout.kind] | _ALWAYS
        return replace(layout, roles={column: role for column, role in layout.roles.items() if role in used})
    return _bare_list(sheet)


def _bare_list(sheet: Sheet) -> Layout | None:
    """A column of plants without a heading."""
    counts: dict[int, list[int]] = {}
    for row in sheet.rows[:200]:
        for cell in row.cells[:3]:
            if isinstance(cell.value, str) and not cell.joined:
                seen = counts.setdefault(cell.column, [0, 0])
                seen[0] += 1
                seen[1] += match(cell.value).status != "unknown"
    for column in sorted(counts):
        texts, plants = counts[column]
        if plants and plants * 2 >= texts:
            first = next(row.number for row in sheet.rows if _named_at(row, column))
            return Layout("list", 0, first - 1, first, {column: "name"})
    return None


def _named_at(row: Row, column: int) -> bool:
    cell = row.at(column)
    return cell is not None and isinstance(cell.value, str) and match(cell.value).status != "unknown"
