"""The form of a photo from a fixed point."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms

from projects.contracts.photos import CONSENT, PhotoNew
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fields import Day, Several


class PhotoForm(ServiceForm):
    """A file, what is to be seen, from where, and that those in it agree."""

    contract = PhotoNew
    pointers = {
        "taken_on": "/taken_on", "point": "/point", "caption": "/caption", "agreed": "/agreed", "for_all": "/shown",
    }  # fmt: skip
    photo = forms.FileField(
        label="The photo",
        help_text="JPEG, PNG or WebP, up to 10 MB. It is made anew here: where and with what it was taken is left out.",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        error_messages={"required": "Choose a photo of at most 10 MB.", "empty": "The file is empty."},
        max_length=1000,
    )
    taken_on = Day(label="Day it was taken", required=True)
    point = forms.CharField(
        max_length=120,
        label="From where, looking which way?",
        help_text="The same words every year, such as “by the gate, looking north”, so that years can be compared.",
        widget=forms.TextInput(attrs={"list": "points", "autocomplete": "off"}),
        error_messages={"required": "Name the fixed point, such as “by the gate, looking north”."},
    )
    caption = forms.CharField(
        max_length=200,
        label="What is to be seen?",
        help_text="One sentence. It is also read to those who cannot see the photo. No names.",
        error_messages={"required": "Say what is to be seen, such as “Rattle in seed, knapweed not yet out”."},
    )
    agreed = Several(choices=[("yes", CONSENT)], label="Consent")
    for_all = Several(
        choices=[("yes", "Everybody may see this photo. It can tell where the site is more precisely than the map.")],
        label="May strangers see it?",
        help_text="Otherwise only your group and the network’s coordinators do.",
    )

    def __init__(self, *args: Any, today: date, year: int, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.extra_pointers["/photo"] = "photo"
        if year == today.year:
            self.initial.setdefault("taken_on", today)
        if self.is_bound:
            self.fields["photo"].help_text = "Choose it again: a browser does not keep a file. " + str(
                self.fields["photo"].help_text
            )

    def asked(self) -> dict[str, Any]:
        said = super().asked()
        return said | {"agreed": bool(said.get("agreed")), "shown": bool(said.get("shown"))}
