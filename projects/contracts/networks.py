"""Requests about networks, districts, villages, groups and the people in them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from projects.contracts.base import Email, Identifier, LongText, Name, Note, Strict

Role = Literal["member", "lead"]
Licence = Literal["CC0-1.0", "CC-BY-4.0", "OGL-UK-3.0"]
StaffRole = Literal["coordinator", "assessor", "fund_manager", "analyst"]


class NetworkNew(Strict):
    """A county's network."""

    name: Name
    slug: Annotated[str, Field(min_length=2, max_length=60, pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
    """Name in addresses: small letters, figures, hyphens."""
    about: LongText = ""
    licence: Licence = "CC-BY-4.0"
    """What records of its meadows go out under."""


class NetworkChange(Strict):
    """What is to be changed of a network."""

    name: Name = ""
    about: LongText = ""
    outline: dict[str, Any] | None = None
    """Outline of the county, a GeoJSON Polygon."""
    licence: Licence = "CC-BY-4.0"
    """What records go out under from now on; what is out already keeps what it was given under."""


class ShieldedTaxonNew(Strict):
    """A plant that is to be shown coarsely."""

    taxon: Annotated[str, Field(min_length=1, max_length=80)]
    """Key of the plant."""
    side_m: Literal[1000, 2000, 10000]
    """Side of the square that its places are told by."""


class DistrictNew(Strict):
    """A part of a county."""

    name: Name


class VillageNew(Strict):
    """A named place, known to the kilometre."""

    name: Name
    grid_reference: Annotated[str, Field(max_length=40)]
    """Two letters and four figures, such as the square of its church."""
    district_id: Identifier | None = None


class GroupNew(Strict):
    """A group of neighbours."""

    network_id: Identifier
    name: Name
    district_id: Identifier | None = None
    about: LongText = ""
    contact: Note = ""
    """How strangers reach the group; everybody sees it."""


class GroupChange(Strict):
    """What is to be changed of a group."""

    name: Name = ""
    district_id: Identifier | None = None
    about: LongText = ""
    contact: Note = ""


class InvitationNew(Strict):
    """An invitation to a group, or to a role in the network."""

    email: Email
    role: Role | StaffRole = "member"
    group_id: Identifier | None = None
    """The group, for a member or a lead."""
    network_id: Identifier | None = None
    """The network, for its own roles."""


class RoleEnd(Strict):
    """What somebody is in the network and shall be no longer."""

    person_id: Identifier
    role: StaffRole


class MembershipChange(Strict):
    """A new role in the group."""

    role: Role


class PrivateYearNew(Strict):
    """A year of which it is to be told how many private sites had a meadow."""

    year: Annotated[int, Field(ge=2000, le=2100)]
    """One that is over; it is told once and stays."""
