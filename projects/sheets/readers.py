"""The layouts of tables, each read row by row."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import Any, Final

from modelling.contracts.outcomes import MOST_QUADRATS
from modelling.names import match
from projects.sheets import headings
from projects.sheets.desk import LONGEST_LABEL, PROBLEMS, WHOLE_SITE, Desk, Measured, Seen, Told
from projects.sheets.headings import area_of, label_of, line_of, role_of, tidy, work_of
from projects.sheets.layouts import ATTRIBUTES, Layout, find_layout, text_of
from projects.sheets.results import Shape
from projects.sheets.tables import Cell, Row, Sheet
from projects.sheets.values import Scale, amount_of, number_of, read_day, scale_named

SECTIONS: Final = frozenset(
    {
        "grasses", "herbs", "forbs", "flowers", "wildflowers", "wild flowers", "legumes", "sedges", "rushes", "weeds",
        "sedges and rushes", "grasses and sedges", "trees", "trees and shrubs", "mosses", "others", "other", "annuals",
        "other species", "other plants", "ferns",
    }
)  # fmt: skip


class Reader(Desk):
    """Sheets read into a desk."""

    # ------------------------------------------------------------------------------------------------- above a table

    def read_lines(self, sheet: Sheet, rows: Iterable[Row]) -> str:
        """Read the lines above a table (day, size of quadrats, how amounts are written); return them as one text."""
        words: list[str] = [sheet.name]
        for row in rows:
            told = self.tell(sheet, row, "title")
            cells = [cell for cell in row.cells if not cell.joined]
            words += [text_of(cell) for cell in cells]
            used = 0
            while used < len(cells):
                cell = cells[used]
                label, colon, rest = text_of(cell).partition(":")
                line = line_of(label) if not cell.problem else ""
                following = cells[used + 1] if used + 1 < len(cells) else None
                used += 1
                if line and colon and rest.strip():
                    self.read_line(told, sheet, line, Cell(cell.row, cell.column, rest.strip()), label)
                elif line and following is not None:
                    used += 1
                    self.read_line(told, sheet, line, following, label)
                elif line and not colon:
                    self.remark(told, "left_empty", f"Nothing stands beside {label!r}.", cell)
                elif not self.dated(told, sheet, cell) and not cell.problem:
                    self.note(sheet.name, cell)
        return " | ".join(words)

    def dated(self, told: Told, sheet: Sheet, cell: Cell) -> bool:
        """A cell above the table that is nothing but a day."""
        if isinstance(cell.value, float) or cell.problem:
            return False
        if isinstance(read_day(cell.value, self.asked.year), date) and self.day is None:
            self.day = self.read_day(told, cell, sheet)
            return True
        return False

    def read_line(self, told: Told, sheet: Sheet, line: str, cell: Cell, label: str) -> None:
        text = text_of(cell)
        if self.unusable(told, cell):
            return
        if line == "date":
            found = self.read_day(told, cell, sheet)
            if found is not None and self.day is None:
                self.day = found
        elif line in {"cut", "graze"}:
            on = self.read_day(told, cell, sheet, of_walk=False)
            if on is not None:
                self.done.append((told, {"what": line, "on": on.isoformat()}))
        elif line == "area":
            area = area_of(text)
            if area is None or not 0 < area <= 100:
                self.refuse(told, "bad_area", f"{cell.address}: read {text[:40]!r}.", cell, "an area such as 1 m x 1 m")
            else:
                self.facts["area_m2"] = area
        elif line in {"grade", "layout"}:
            offered = headings.GRADES if line == "grade" else headings.LAYOUTS
            key = next((key for key, words in offered.items() if tidy(text) in {tidy(words), key}), None)
            if key is None:
                asked = f"{label.strip()}: read {text[:40]!r}. Which of these is it?"
                key = self.ask(told, f"{line}:{sheet.name}", line, asked, list(offered.items()), cell=cell)
            if key is not None:
                self.facts[line] = key
        elif line == "surveyor":
            self.remark(told, "name_not_kept", "The names of people are not kept.", cell)
        elif line == "scale":
            pass  # read from the words of all lines together
        else:
            self.note(sheet.name, cell)

    # ------------------------------------------------------------------------------------------------------- tables

    def read_sheet(self, sheet: Sheet) -> tuple[Shape, int]:
        known = self.whole.layouts
        layout = known[sheet.name] if sheet.name in known else find_layout(sheet)
        if layout is None:
            self.read_lines(sheet, sheet.rows)
            loose = [told for told in self.rows if told.sheet == sheet.name and not self._only_lines(told)]
            for told in loose:
                self.refuse(
                    told,
                    "no_heading",
                    "No heading above this row says what it holds.",
                    expected="a row of headings such as Species, Q1, Q2, or Quadrat, Species, % cover",
                )
            return ("page" if not loose else "none"), 0
        top = [row for row in sheet.rows if row.number < layout.first_heading]
        hint = self.read_lines(sheet, top)
        heads = [row for row in sheet.rows if layout.first_heading <= row.number <= layout.last_heading]
        told_heads = [self.tell(sheet, row, "heading") for row in heads]
        rows = [row for row in sheet.rows if row.number > layout.last_heading]
        if layout.guessed:
            layout = self.are_quadrats(sheet, layout, told_heads[0])
        reader = {
            "wide": self.read_wide,
            "long": self.read_long,
            "transposed": self.read_transposed,
            "list": self.read_list,
            "work": self.read_work,
        }[layout.kind]
        self.unused_columns(sheet, layout, told_heads)
        reader(sheet, layout, told_heads, rows, hint)
        return layout.kind, layout.heading

    def are_quadrats(self, sheet: Sheet, layout: Layout, told: Told) -> Layout:
        """Ask whether columns of amounts under unknown headings are quadrats; until then they are taken as such."""
        names = ", ".join(layout.labels.values())
        answer = self.ask(
            told,
            f"quadrats:{sheet.name}",
            "columns_are_quadrats",
            f"Amounts stand under {names[:200]}. Are these quadrats?",
            [("quadrats", "Yes, each is a quadrat"), ("notes", "No: keep them as notes")],
            cell=told.row.at(min(layout.labels)),
        )
        return replace(layout, kind="list", labels={}) if answer == "notes" else layout

    def _only_lines(self, told: Told) -> bool:
        """Whether a row of a sheet without a table was a line such as "Date: 14 July", or one single text."""
        cells = [cell for cell in told.row.cells if not cell.joined]
        labels = [line_of(text_of(cell).partition(":")[0]) for cell in cells]
        return any(labels) or (len(cells) == 1 and len(text_of(cells[0])) > 30)

    def unused_columns(self, sheet: Sheet, layout: Layout, told_heads: list[Told]) -> None:
        known = {*layout.roles, *layout.labels, *layout.plants}
        for told in told_heads:
            for cell in told.row.cells:
                if cell.joined:
                    continue
                if cell.column not in known:
                    self.remark(
                        told, "column_not_used", f"{cell.address}: {text_of(cell)[:40]!r} is kept as notes.", cell
                    )
                elif layout.roles.get(cell.column) == "surveyor":
                    self.remark(told, "name_not_kept", "The names of people are not kept.", cell)
                elif layout.roles.get(cell.column) == "total":
                    self.remark(told, "total", f"{cell.address}: a column of totals; we add up ourselves.", cell)

    def leftovers(self, told: Told, layout: Layout, used: Iterable[int] = ()) -> None:
        """Keep as notes what stands in columns that are not used."""
        known = {
            column for column, role in layout.roles.items() if role not in {"note", "hours", "heads", "money", "what"}
        }
        known |= {*layout.labels, *layout.plants, *used}
        for cell in told.row.cells:
            if cell.column not in known and not cell.joined:
                if cell.problem:
                    self.remark(told, cell.problem, f"{cell.address} holds {PROBLEMS[cell.problem]}.", cell)
                else:
                    self.note(told.sheet, cell)

    def is_apart(self, told: Told, first: str, others: int) -> bool:
        """Whether a row is a total, a heading again or a remark instead of a plant."""
        role = role_of(first)
        if role == "total":
            told.role = "total"
            self.remark(told, "total", "A row of totals; we add up ourselves.")
            return True
        if not others and tidy(first) in SECTIONS:
            told.role = "heading"
            self.remark(told, "heading", "A heading between the plants.")
            return True
        if role in {"name", "english", "latin"} and match(first).status == "unknown":
            told.role = "heading"
            self.remark(told, "heading", "The headings again.")
            return True
        if not others and (role == "note" or len(first) > 60) and match(first).status == "unknown":
            told.role = "note"
            self.remark(told, "note", "A remark; it is kept among the notes.")
            for cell in told.row.cells:
                if not cell.joined and not cell.problem:
                    self.note(told.sheet, cell)
            return True
        return False

    def name_cells(self, row: Row, layout: Layout) -> list[Cell]:
        columns = [layout.column(role) for role in ("name", "english", "latin")]
        cells = [row.at(column) for column in columns if column is not None]
        return [cell for cell in cells if cell is not None and not cell.joined and text_of(cell)]

    def read_wide(self, sheet: Sheet, layout: Layout, heads: list[Told], rows: list[Row], hint: str) -> None:
        labels = self.wide_labels(sheet, layout, heads)
        head = {cell.column: text_of(cell) for told in heads for cell in told.row.cells}
        amounts: dict[str, list[Cell]] = {}
        plain: list[tuple[Row, Told, list[Cell]]] = []
        elsewhere = layout.column("elsewhere")
        columns = {**labels, **({elsewhere: WHOLE_SITE} if elsewhere is not None else {})}
        hints = {column: self.hint_of(head.get(column, ""), hint) for column in columns}
        for row in rows:
            told = self.tell(sheet, row)
            names = self.name_cells(row, layout)
            values = [cell for cell in row.cells if cell.column in columns]
            first = text_of(names[0]) if names else ""
            what = role_of(first) if names and not names[0].problem else ""
            if not names and not values:
                told.role = "note"
                self.leftovers(told, layout)
            elif not names:
                if any(amount_of(cell).kind != "absent" or cell.problem for cell in values):
                    self.refuse(told, "no_name", "Amounts without a plant's name.", values[0], "a plant's name")
            elif what in ATTRIBUTES:
                unit = "mm" if "mm" in first.casefold() else ""
                self.leftovers(told, layout)
                for cell in values:
                    if columns[cell.column] != WHOLE_SITE:
                        self.measure(told, None, columns[cell.column], what, cell, unit)
            elif what == "date":
                for cell in values[:1]:
                    found = self.read_day(told, cell, sheet)
                    self.day = self.day or found
                if len({text_of(cell) for cell in values}) > 1:
                    self.refuse(
                        told,
                        "several_days",
                        "Quadrats of several days on one sheet.",
                        values[1],
                        "a sheet for each day",
                    )
            elif not self.is_apart(told, first, len(values)):
                plain.append((row, told, names))
                for cell in values:
                    amounts.setdefault(hints[cell.column], []).append(cell)
        scales = {
            words: self.scale_of(sheet, self.scale_place(sheet, words, hints), words, cells)
            for words, cells in amounts.items()
        }
        for row, told, names in plain:
            values = [cell for cell in row.cells if cell.column in columns]
            seen = [cell for cell in values if cell.problem or amount_of(cell).kind != "absent"]
            self.leftovers(told, layout)
            self.read_done(told, sheet, layout, row)
            if layout.guessed:
                self.wait(told, f"quadrats:{sheet.name}")
            if not seen:
                self.remark(told, "not_seen", "No amount anywhere: taken as not seen.")
                continue
            named = self.read_name(told, names)
            if named is None:
                continue
            for cell in values:
                words = hints[cell.column]
                place = f"scale:{self.scale_place(sheet, words, hints)}"
                self.put(told, None, columns[cell.column], named, cell, scales[words], place)

    def hint_of(self, heading: str, hint: str) -> str:
        """The words that tell a column's scale: its own heading's where they do, else those of the sheet."""
        return heading if list(scale_named(heading)) else hint

    def scale_place(self, sheet: Sheet, words: str, hints: dict[int, str]) -> str:
        kinds = list(dict.fromkeys(hints.values()))
        return sheet.name if len(kinds) == 1 else f"{sheet.name}:{kinds.index(words) + 1}"

    def wide_labels(self, sheet: Sheet, layout: Layout, heads: list[Told]) -> dict[int, str]:
        """Quadrats by column; one that is named twice is asked about."""
        out: dict[int, str] = {}
        for column in sorted(layout.labels):
            label = layout.labels[column][:LONGEST_LABEL]
            if label.casefold() in {other.casefold() for other in out.values()}:
                again = next(
                    f"{label} ({number})"
                    for number in range(2, MOST_QUADRATS)
                    if f"{label} ({number})" not in out.values()
                )
                cell = next((told.row.at(column) for told in heads if told.row.at(column) is not None), None)
                told = next((told for told in heads if told.row.at(column) is not None), None)
                answer = self.ask(
                    told,
                    f"quadrat:{sheet.name}:{column}",
                    "quadrat_twice",
                    f"The quadrat {label!r} stands twice among the headings. What is the second?",
                    [("another", f"A quadrat of its own: {again}"), ("left_out", "A copy: leave it out")],
                    cell=cell,
                )
                if answer == "left_out":
                    continue
                label = again
            out[column] = label
        return out

    def read_long(self, sheet: Sheet, layout: Layout, heads: list[Told], rows: list[Row], hint: str) -> None:
        quadrat = layout.column("quadrat")
        dated, part, scaled = layout.column("date"), layout.column("part"), layout.column("scale")
        value = layout.column("value")
        head = {cell.column: text_of(cell) for told in heads for cell in told.row.cells}
        units = {column: "mm" if "mm" in head.get(column, "").casefold() else "" for column in layout.roles}
        cells = [cell for row in rows if value is not None and (cell := row.at(value)) is not None]
        words = self.hint_of(head.get(value, "") if value is not None else "", hint)
        own_scale = scaled is not None and any(row.at(scaled) is not None for row in rows)
        scale = None if own_scale else self.scale_of(sheet, sheet.name, words, cells)
        label, day = "", None
        for row in rows:
            told = self.tell(sheet, row)
            names = self.name_cells(row, layout)
            self.leftovers(told, layout)
            quadrat_cell = row.at(quadrat) if quadrat is not None else None
            first = text_of(names[0]) if names else text_of(quadrat_cell)
            if self.unusable(told, quadrat_cell):
                continue
            if self.is_apart(told, first, len(row.cells) - len(names)) or role_of(text_of(quadrat_cell)) == "total":
                told.role = told.role if told.role != "data" else "total"
                continue
            if text_of(quadrat_cell):
                label = text_of(quadrat_cell)[:LONGEST_LABEL]
            elif label and names:
                self.remark(told, "quadrat_from_above", f"Taken as {label!r}, the quadrat above.")
            day_cell = row.at(dated) if dated is not None else None
            if day_cell is not None and text_of(day_cell):
                day = self.read_day(told, day_cell, sheet)
            self.read_done(told, sheet, layout, row)
            measured = [
                (what, cell)
                for column, what in layout.roles.items()
                if what in ATTRIBUTES and (cell := row.at(column)) is not None and not cell.joined
            ]
            if not names and not measured:
                if text_of(quadrat_cell) and len(row.cells) == 1:
                    self.remark(told, "quadrat", "The name of a quadrat, for the rows below it.")
                elif value is not None and row.at(value) is not None:
                    self.refuse(told, "no_name", "An amount without a plant's name.", row.at(value), "a plant's name")
                else:
                    told.role = "note"
                continue
            if not label:
                self.refuse(told, "no_quadrat", "No quadrat is named here or above.", expected="a quadrat such as Q1")
                continue
            for what, cell in measured:
                self.measure(told, day, label, what, cell, units.get(cell.column, ""))
            if part is not None and (part_cell := row.at(part)) is not None:
                control = tidy(text_of(part_cell)).startswith(("control", "unsown", "not sown"))
                self.measured.append(Measured(told, day, label, "part", "control" if control else "sown", part_cell))
            if not names:
                continue
            named = self.read_name(told, names)
            if named is None:
                continue
            amount = row.at(value) if value is not None else None
            if amount is None:
                if value is not None:
                    answer = self.ask(
                        told,
                        f"amount:{sheet.name}",
                        "amount_missing",
                        "Some plants stand without an amount. Were they seen?",
                        [("seen", "Seen, amount not told"), ("absent", "Not seen")],
                        cell=names[0],
                    )
                    if answer == "absent":
                        continue
                self.seen.append(Seen(told, day, label, *named, "presence", "", names[0]))
                continue
            row_scale: Scale | None = scale
            if own_scale and scaled is not None:
                row_scale = next(scale_named(text_of(row.at(scaled))), None)
                if row_scale is None:
                    self.refuse(
                        told, "no_scale", "The scale of this amount is not known.", row.at(scaled), "a scale such as %"
                    )
                    continue
            self.put(told, day, label, named, amount, row_scale, f"scale:{sheet.name}")

    def read_transposed(self, sheet: Sheet, layout: Layout, heads: list[Told], rows: list[Row], hint: str) -> None:
        quadrat, dated = layout.column("quadrat"), layout.column("date")
        head = {cell.column: text_of(cell) for told in heads for cell in told.row.cells}
        data: list[tuple[Row, Told, str, date | None]] = []
        labels: set[str] = set()
        day: date | None = None
        for row in rows:
            told = self.tell(sheet, row)
            cell = row.at(quadrat) if quadrat is not None else None
            self.leftovers(told, layout)
            label = text_of(cell)[:LONGEST_LABEL]
            if self.unusable(told, cell):
                continue
            if not label:
                if any(each.column in layout.plants for each in row.cells):
                    self.refuse(told, "no_quadrat", "No quadrat is named here.", expected="a quadrat such as Q1")
                else:
                    told.role = "note"
                continue
            if self.is_apart(told, label, len(row.cells) - 1):
                continue
            label = label_of(label) or label
            if dated is not None and (day_cell := row.at(dated)) is not None:
                day = self.read_day(told, day_cell, sheet)
            if label.casefold() in labels:
                again = f"{label} (row {row.number})"[:LONGEST_LABEL]
                answer = self.ask(
                    told,
                    f"quadrat:{sheet.name}:row{row.number}",
                    "quadrat_twice",
                    f"The quadrat {label!r} stands twice. What is the second?",
                    [("another", f"A quadrat of its own: {again}"), ("left_out", "A copy: leave it out")],
                    cell=cell,
                )
                if answer == "left_out":
                    self.remark(told, "left_out", "Left out as a copy.")
                    continue
                label = again
            labels.add(label.casefold())
            self.read_done(told, sheet, layout, row)
            data.append((row, told, label, day))
        cells = [cell for row, *_ in data for cell in row.cells if cell.column in layout.plants]
        scale = self.scale_of(sheet, sheet.name, hint, cells)
        named = {column: self.read_name(heads[-1], [cell]) for column, cell in layout.plants.items()}
        for row, told, label, on in data:
            for cell in row.cells:
                what = layout.roles.get(cell.column, "")
                if what in ATTRIBUTES:
                    unit = "mm" if "mm" in head.get(cell.column, "").casefold() else ""
                    self.measure(told, on, label, what, cell, unit)
                elif (plant := named.get(cell.column)) is not None:
                    if not self.unusable(told, cell):
                        told.asks |= {key for key in heads[-1].asks if key == f"name:{match(plant[0]).folded}"}
                        self.put(told, on, label, plant, cell, scale, f"scale:{sheet.name}")
                elif cell.column in layout.plants and not heads[-1].refused:
                    self.note(sheet.name, cell)

    def read_list(self, sheet: Sheet, layout: Layout, heads: list[Told], rows: list[Row], hint: str) -> None:
        dated, value = layout.column("date"), layout.column("value")
        head = {cell.column: text_of(cell) for told in heads for cell in told.row.cells}
        cells = [cell for row in rows if value is not None and (cell := row.at(value)) is not None]
        words = self.hint_of(head.get(value, "") if value is not None else "", hint)
        words = f"{words} {head.get(value, '')}" if value is not None else words
        scale = self.scale_of(sheet, sheet.name, words, cells) if cells else None
        day: date | None = None
        for row in rows:
            told = self.tell(sheet, row)
            names = self.name_cells(row, layout)
            first = text_of(names[0]) if names else ""
            line = line_of(first.partition(":")[0]) if ":" in first else ""
            if line and names:
                told.role = "note"
                rest = first.partition(":")[2].strip()
                if rest:
                    self.read_line(told, sheet, line, Cell(row.number, names[0].column, rest), first.partition(":")[0])
                continue
            if not names:
                self.leftovers(told, layout)
                self.read_done(told, sheet, layout, row)
                told.role = "note"
                continue
            if self.is_apart(told, first, len(row.cells) - len(names)):
                continue
            if not layout.heading and any(
                cell.column != layout.column("name") and amount_of(cell).kind not in {"other", "absent"}
                for cell in row.cells
            ):
                self.refuse(
                    told,
                    "no_heading",
                    "Amounts stand beside the name, and no heading says of what.",
                    row.cells[-1],
                    "a row of headings such as Species, Q1, Q2",
                )
                continue
            self.leftovers(told, layout)
            if dated is not None and (day_cell := row.at(dated)) is not None:
                day = self.read_day(told, day_cell, sheet)
            self.read_done(told, sheet, layout, row)
            named = self.read_name(told, names)
            if named is None:
                continue
            amount = row.at(value) if value is not None else None
            if amount is None:
                self.seen.append(Seen(told, day, WHOLE_SITE, *named, "presence", "", names[0]))
            else:
                self.put(told, day, WHOLE_SITE, named, amount, scale, f"scale:{sheet.name}")

    def read_done(self, told: Told, sheet: Sheet, layout: Layout, row: Row) -> None:
        """Days of cutting, raking and grazing in columns of their own."""
        for column, what in layout.roles.items():
            cell = row.at(column)
            if what in {"cut", "rake", "graze"} and cell is not None and text_of(cell) and not cell.joined:
                on = self.read_day(told, cell, sheet, of_walk=False)
                if on is not None:
                    self.done.append((told, {"what": what, "on": on.isoformat()}))

    def read_work(self, sheet: Sheet, layout: Layout, heads: list[Told], rows: list[Row], hint: str) -> None:
        del heads, hint
        columns = {role: layout.column(role) for role in ("what", "date", "hours", "heads", "money", "note")}
        for row in rows:
            told = self.tell(sheet, row)
            cells = {role: row.at(column) for role, column in columns.items() if column is not None}
            used = {role: cell for role, cell in cells.items() if cell is not None and text_of(cell)}
            self.leftovers(told, layout, [column for column in columns.values() if column is not None])
            if any(self.unusable(told, cell) for cell in used.values()):
                continue
            what = used.get("what")
            if set(used) <= {"what"}:
                told.role = "note" if what is None else "data"
                self.remark(told, "not_done", "Nothing beside it: taken as not done.")
                continue
            if what is None:
                self.refuse(
                    told, "no_work", "What was done is not told.", row.cells[0], "what was done, such as Cutting"
                )
                continue
            day_cell = used.get("date")
            if day_cell is None:
                self.refuse(told, "no_day", "The day is not told.", what, "a day such as 14 July 2026")
                continue
            on = self.read_day(told, day_cell, sheet, of_walk=False)
            line: dict[str, Any] = {"what": work_of(text_of(what)), "on": on.isoformat() if on else None}
            for role, key, whole in (
                ("hours", "person_hours", False),
                ("heads", "heads", True),
                ("money", "cash_gbp", False),
            ):
                cell = used.get(role)
                if cell is None:
                    continue
                number = number_of(text_of(cell).replace("£", "").replace(",", "" if role == "money" else ",").strip())
                if number is None or number < 0 or number > 100_000 or (whole and not float(number).is_integer()):
                    expected = "a whole number of people" if whole else "a number of at least 0"
                    self.refuse(told, "bad_figure", f"{cell.address}: read {text_of(cell)[:40]!r}.", cell, expected)
                else:
                    line[key] = int(number) if whole else round(number, 2)
            said = [text_of(used[role]) for role in ("note",) if role in used]
            if line["what"] == "other":
                said.insert(0, text_of(what))
            if said:
                line["note"] = "; ".join(said)[:500]
            self.done.append((told, line))
