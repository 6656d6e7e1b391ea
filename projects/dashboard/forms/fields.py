"""Form fields that read what people type: amounts with units, plants by name."""

import re
from collections.abc import Mapping
from typing import Any

from django import forms

_NUMBER = re.compile(r"(?P<number>-?(?:[0-9]{1,3}(?:,[0-9]{3})+|[0-9]+)(?:\.[0-9]+)?|-?\.[0-9]+)\s*(?P<unit>[^0-9].*)?")
LONGEST = 40
SQUARE_METRES = {"m2": 1.0, "m²": 1.0, "sq m": 1.0, "square metres": 1.0, "ha": 10_000.0, "hectares": 10_000.0}
GRAMS = {"g": 1.0, "grams": 1.0, "kg": 1000.0}
METRES = {"m": 1.0, "metres": 1.0, "km": 1000.0}
POUNDS = {"£": 1.0, "gbp": 1.0, "pounds": 1.0}


class Radios(forms.RadioSelect):
    template_name = "dashboard/choices.html"


class Ticks(forms.CheckboxSelectMultiple):
    template_name = "dashboard/choices.html"


class Amount(forms.Field):
    """A number typed with or without one of its units, which are told by what they are worth in the one meant.

    Thousands may be set off by commas. Nothing is guessed: "1,5" is refused, since it may mean 1.5 or 15.
    """

    def __init__(self, units: Mapping[str, float] | None = None, *, whole: bool = False, **options: Any) -> None:
        self.units = units or {}
        self.shown = [name for name in self.units if len(name) <= 2 and name not in {"m2", "£"}]  # The shortest, once.
        self.whole = whole
        options.setdefault("required", False)
        options.setdefault("widget", forms.TextInput(attrs={"inputmode": "numeric" if whole else "decimal"}))
        super().__init__(**options)

    def to_python(self, value: Any) -> float | int | None:
        text = (value or "").strip()
        if not text:
            return None
        example = "180" if self.whole else "180 or 0.9"
        found = None if len(text) > LONGEST else _NUMBER.fullmatch(text.removeprefix("£"))
        unit = (found["unit"] or "").strip().lower() if found else ""
        if found is None or (unit and unit not in self.units):
            units = f", with {' or '.join(self.shown)} after it if you like" if self.shown else ""
            raise forms.ValidationError(f"“{text[:LONGEST]}” is not a number; write one such as {example}{units}.")
        number = found["number"].replace(",", "")
        if not self.whole:
            return float(number) * self.units.get(unit, 1.0)
        if "." in number:
            raise forms.ValidationError(f"“{text}” is not a whole number; write one such as {example}.")
        return int(number)


class Pick(forms.ChoiceField):
    """One of a list, or nothing said."""

    def __init__(self, choices: Any = (), *, blank: str = "Not said", radio: bool = False, **options: Any) -> None:
        options.setdefault("required", False)
        options["choices"] = [("", blank), *choices]
        if radio:
            options["widget"] = Radios
        super().__init__(**options)
        self.error_messages["invalid_choice"] = "“%(value)s” is not in the list; choose one that is."


class Several(forms.MultipleChoiceField):
    """Any of a list."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("widget", Ticks)
        super().__init__(**options)
        self.error_messages["invalid_choice"] = "“%(value)s” is not in the list; choose from those that are."


class Day(forms.DateField):
    """A day, written as the browser's date picker does."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("widget", forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
        super().__init__(input_formats=["%Y-%m-%d"], **options)
        self.error_messages["invalid"] = "This is not a date; write one as year-month-day, such as 2026-09-20."


class Plant(forms.CharField):
    """A plant by its English or Latin name, or by its key; read as the key.

    A name that nobody knows is passed on as typed: the service answers with the nearest ones.
    """

    def __init__(self, names: Mapping[str, str], labels: Mapping[str, str], **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("max_length", 80)
        super().__init__(**options)
        self.names = names
        self.widget = PlantInput(labels, attrs={"list": "plants", "autocomplete": "off"})

    def to_python(self, value: Any) -> str:
        text = super().to_python(value) or ""
        return self.names.get(folded(text), text)


class PlantInput(forms.TextInput):
    """Shows a plant's name where the address holds its key."""

    def __init__(self, labels: Mapping[str, str], attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs)
        self.labels = labels

    def format_value(self, value: Any) -> Any:
        return self.labels.get(value, value) if isinstance(value, str) else value

    def __deepcopy__(self, memo: dict[int, Any]) -> "PlantInput":
        return PlantInput(self.labels, dict(self.attrs))


def folded(name: str) -> str:
    """Return a name without the differences people do not mind: case, hyphens, apostrophes, blanks."""
    return re.sub(r"[^a-z]+", "", name.lower().replace("’", "'"))
