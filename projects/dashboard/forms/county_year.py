"""Which meadows a county's year is told of."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from projects.choices import Stage
from projects.dashboard.forms.fields import Pick
from projects.dashboard.forms.sites import choices_of


class CountyYearForm(forms.Form):
    """Filters in the address; nothing said takes all."""

    def __init__(
        self, data: Mapping[str, Any], *, districts: Sequence[tuple[str, str]], funders: Sequence[str]
    ) -> None:
        super().__init__(data)
        self.fields["district"] = Pick(districts, blank="All", label="District")
        self.fields["kind"] = Pick(choices_of("kind"), blank="All", label="Kind of place")
        self.fields["stage"] = Pick(Stage.choices, blank="Any", label="Stage now")
        self.fields["funder"] = Pick([(name, name) for name in funders], blank="Any or none", label="Paid for by")

    def said(self) -> dict[str, str]:
        """What is asked for, leaving out what could not be read."""
        self.is_valid()
        return {name: str(self.cleaned_data[name]) for name in self.fields if self.cleaned_data.get(name)}
