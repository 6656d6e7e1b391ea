"""Forms about networks, districts, villages and groups."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar

from django import forms

from projects.choices import Licence
from projects.contracts.base import Strict
from projects.contracts.networks import DistrictNew, GroupChange, GroupNew, NetworkChange, NetworkNew, VillageNew
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fields import Pick
from projects.dashboard.forms.sites import Json
from projects.models import District, Group, Network


class Paragraphs(forms.CharField):
    """Text of several lines."""

    widget = forms.Textarea

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("max_length", 4000)
        super().__init__(**options)
        self.widget.attrs["rows"] = 5


def _name(label: str, missing: str) -> forms.CharField:
    return forms.CharField(max_length=120, label=label, error_messages={"required": missing})


class NetworkForm(ServiceForm):
    """A county's network to be set up."""

    contract = NetworkNew
    pointers = {"name": "/name", "slug": "/slug", "about": "/about"}
    name = _name("Name of the county", "Say what the county is called.")
    slug = forms.CharField(
        max_length=60,
        label="Its name in addresses",
        help_text="Small letters, figures and hyphens, such as saltmere.",
        error_messages={"required": "Give it one, such as saltmere."},
    )
    about = Paragraphs(label="About the network")

    def clean_slug(self) -> str:
        slug = str(self.cleaned_data["slug"])
        if slug == "new":
            raise forms.ValidationError("“new” is an address of its own here; take another.")
        return slug


class NetworkChangeForm(ServiceForm):
    """What a network says of itself, and its outline."""

    contract = NetworkChange
    only_changes = True
    pointers = {"name": "/name", "about": "/about", "licence": "/licence", "outline": "/outline"}
    name = _name("Name of the county", "Say what the county is called.")
    about = Paragraphs(label="About the network", help_text="Everybody reads it on the county’s page.")
    licence = Pick(
        Licence.choices,
        label="Licence of the records",
        help_text="What the agreed returns of open sites go out under. What is out already keeps what it had.",
    )
    outline = Json(
        label="Outline of the county, as GeoJSON",
        help_text="A polygon, longitude before latitude. Left empty, the outline stays as it is.",
    )

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        if "about" in data:
            data["about"] = data["about"] or ""
        if not data.get("licence"):
            data.pop("licence", None)
        return data


class DistrictForm(ServiceForm):
    """A part of the county."""

    contract = DistrictNew
    pointers = {"name": "/name"}
    name = _name("Name of the district", "Say what the district is called.")


class VillageForm(ServiceForm):
    """A village, known to the kilometre."""

    contract = VillageNew
    pointers = {"name": "/name", "grid_reference": "/grid_reference", "district_id": "/district_id"}
    name = _name("Name of the village", "Say what the village is called.")
    grid_reference = forms.CharField(
        max_length=40,
        label="Grid reference of its church or green",
        help_text="Two letters and four figures are enough: TA 98 35.",
        error_messages={"required": "Give it, such as TA 98 35."},
    )

    def __init__(self, *args: Any, districts: Iterable[District], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["district_id"] = _district(districts)


class GroupForm(ServiceForm):
    """A group of neighbours."""

    contract: ClassVar[type[Strict]] = GroupNew
    pointers = {"name": "/name", "district_id": "/district_id", "about": "/about", "contact": "/contact"}
    name = _name("Name of the group", "Say what the group is called.")
    contact = forms.CharField(
        required=False,
        max_length=200,
        label="How strangers reach the group",
        help_text="Everybody sees it, so no private address: “Ask at the post office” will do.",
    )
    about = Paragraphs(label="About the group", help_text="Everybody reads it.")

    def __init__(self, *args: Any, network: Network, districts: Iterable[District], **kw: Any) -> None:
        self.network = network
        super().__init__(*args, **kw)
        self.fields["district_id"] = _district(districts)

    def asked(self) -> dict[str, Any]:
        return super().asked() | {"network_id": str(self.network.public_id)}


class GroupChangeForm(GroupForm):
    """What a group says of itself."""

    contract = GroupChange
    only_changes = True

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        data.pop("network_id")
        for name in ("about", "contact"):
            if name in data:
                data[name] = data[name] or ""
        return data


def group_initial(group: Group) -> dict[str, Any]:
    """What the form of a group is filled in with."""
    return {
        "version": group.version,
        "name": group.name,
        "district_id": str(group.district.public_id) if group.district else "",
        "about": group.about,
        "contact": group.contact,
    }


def _district(districts: Iterable[District]) -> Pick:
    return Pick([(str(district.public_id), district.name) for district in districts], label="District")
