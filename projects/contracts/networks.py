"""Requests about networks, districts, villages, groups and the people in them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from projects.contracts.base import Email, Identifier, LongText, Name, Note, Strict

Role = Literal["member", "lead"]
StaffRole = Literal["coordinator", "assessor", "fund_manager", "analyst"]


class NetworkNew(Strict):
    """A county's network."""

    name: Name
    slug: Annotated[str, Field(min_length=2, max_length=60, pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
    """Name in addresses: small letters, figures, hyphens."""
    about: LongText = ""


class NetworkChange(Strict):
    """What is to be changed of a network."""

    name: Name = ""
    about: LongText = ""
    outline: dict[str, Any] | None = None
    """Outline of the county, a GeoJSON Polygon."""


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
