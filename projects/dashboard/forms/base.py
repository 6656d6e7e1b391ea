"""Forms whose words go to a service: what they say as a plain dict, and faults beside the fields they came from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.forms.boundfield import BoundField
from django.http import QueryDict

from modelling.errors import FieldError, RequestRefused
from projects.contracts.base import Strict, read_as
from projects.dashboard.words import figure
from projects.errors import Refused

#: what stands where bytes could not be read as UTF-8
UNREADABLE: Final = "\N{REPLACEMENT CHARACTER}"


class ServiceForm(forms.Form):
    """A form with one contract behind it.

    `pointers` names, for each field, where its value stands in the request. With `only_changes`, what was not changed
    is left out of it, so that it stays as it is.
    """

    contract: ClassVar[type[Strict]]
    pointers: ClassVar[Mapping[str, str]] = {}
    only_changes: ClassVar[bool] = False
    #: the version that was read, for saying when somebody else has changed it since
    version = forms.IntegerField(required=False, widget=forms.HiddenInput, min_value=0)
    use_required_attribute = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.stale = ""
        self.others: list[tuple[str, str]] = []
        self.extra_pointers: dict[str, str] = {}

    def full_clean(self) -> None:
        """Refuse what Django put in the place of bytes that were no text: what was typed would be lost in silence."""
        super().full_clean()
        for name, value in list(getattr(self, "cleaned_data", {}).items()):
            if isinstance(value, str) and UNREADABLE in value:
                self.add_error(name, "Some of this did not arrive as text (it shows as �). Type those letters again.")

    # ------------------------------------------------------------ what is sent

    def asked(self) -> dict[str, Any]:
        """Return the request as the API would be sent it; of a form with faults, what could be read."""
        data: dict[str, Any] = {}
        for name, pointer in self.pointers.items():
            if name not in self.cleaned_data or (self.only_changes and not self.was_changed(name)):
                continue
            value = sent(self.cleaned_data[name])
            if value is None and not self.only_changes:
                continue
            put(data, pointer, value)
        return data

    def read(self) -> Any:
        """Return the request, read; raises RequestRefused."""
        return read_as(self.contract, self.asked())

    def was_changed(self, name: str) -> bool:
        """Whether a field says something else than it was filled in with."""
        field = self.fields[name]
        before = self.get_initial_for_field(field, name)
        try:
            read = field.clean(
                before if before is not None else ([] if isinstance(field, forms.MultipleChoiceField) else "")
            )
        except forms.ValidationError:
            return True
        return bool(sent(read) != sent(self.cleaned_data.get(name)))

    @property
    def if_version(self) -> int | None:
        """The version the form was filled in from."""
        found: int | None = self.cleaned_data.get("version")
        return found

    # ------------------------------------------------------------ what is refused

    def add_contract_faults(self) -> None:
        """Add what the contract would refuse in what could be read, so that all faults are shown at once."""
        try:
            self.read()
        except RequestRefused as refusal:
            self.add_refusals(refusal.errors)

    def add_refusals(self, refusals: Iterable[FieldError]) -> None:
        """Put each fault beside the field it came from; one field shows its first."""
        names = {pointer: name for name, pointer in self.pointers.items()} | self.extra_pointers
        for refusal in refusals:
            pointer = refusal.pointer
            while pointer and pointer not in names:
                pointer = pointer.rpartition("/")[0]
            name = names.get(pointer)
            if name is not None and name not in self.fields:
                name = None
            if name is None or name not in self.errors:
                self.add_error(name, self.said(refusal, name))

    def said(self, refusal: FieldError, name: str | None) -> str:
        """Return a refusal for people, without the words of programs."""
        if refusal.code == "missing" and refusal.detail.endswith(" is needed."):
            return "This has to be filled in."
        if refusal.code == "out_of_range" and isinstance(refusal.value, int | float) and refusal.expected:
            return f"{figure(float(refusal.value), 6)} will not do; it must be {refusal.expected}."
        return refusal.detail

    def add_refused(self, refused: Refused) -> None:
        """Show the refusal of an act."""
        if refused.errors:
            self.add_refusals(refused.errors)
        else:
            self.add_error(None, refused.detail)

    def aged(self, detail: str, now: ServiceForm) -> None:
        """Say that somebody changed it in the meantime, and what stands there now; sent again, this replaces it."""
        self.stale = detail
        for name, field in now.fields.items():
            if isinstance(field.widget, forms.HiddenInput):
                continue
            shown, typed = now[name].value(), self[name].value()
            if told(shown) != told(typed):
                self.others.append((str(field.label), told(shown, field) or "nothing"))
        self.data = replaced(self.data, self.add_prefix("version"), now["version"].value())

    # ------------------------------------------------------------ what is shown

    @property
    def wrong(self) -> list[tuple[BoundField | None, str]]:
        """Everything that is wrong, in the form's order, with its field."""
        found: list[tuple[BoundField | None, str]] = [(None, str(text)) for text in self.non_field_errors()]
        return found + [(self[name], str(text)) for name in self.fields for text in self.errors.get(name, [])]

    def shown(self, *names: str) -> Iterator[BoundField]:
        """Return fields by name, those there are."""
        return (self[name] for name in names if name in self.fields)

    def filled(self, *names: str) -> bool:
        """Whether something was typed into one of these, or is wrong in it."""
        return any(
            self[name].errors or self[name].value() not in (None, "", []) for name in names if name in self.fields
        )


def put(data: dict[str, Any], pointer: str, value: Any) -> None:
    """Put a value where a pointer says."""
    *parents, last = pointer.strip("/").split("/")
    at = data
    for key in parents:
        at = at.setdefault(key, {})
    at[last] = value


def replaced(data: Any, name: str, value: Any) -> QueryDict:
    """Return what was sent, with another value under a name."""
    changed: QueryDict = data.copy()
    changed[name] = str(value)
    return changed


def sent(value: Any) -> Any:
    """Return a field's value as a request has it; None where nothing was said."""
    if value in (None, ""):
        return None
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, UUID) else value


def told(value: Any, field: forms.Field | None = None) -> str:
    """Return a form's value as text."""
    if value is None:
        return ""
    if isinstance(value, list | tuple):
        return ", ".join(told(item, field) for item in value)
    if isinstance(field, forms.ChoiceField):
        choices: Any = field.choices
        for key, label in choices:
            if str(key) == str(value):
                return str(label)
    return value.isoformat() if isinstance(value, date) else str(value).replace("\r\n", "\n")


def typed(value: float | int | None) -> str:
    """Return a number as a form shows it: 180.0 is "180"."""
    return "" if value is None else figure(float(value), 12).replace(",", "")
