"""Rows and their constraints, one noun a file."""

from projects.models.audit import AuditEntry
from projects.models.diary import WorkEntry
from projects.models.groups import Group, Membership
from projects.models.jobs import Job
from projects.models.meadows import Forecast, MeadowProject, PlanVersion, StageChange
from projects.models.networks import District, Network, NetworkMembership, Village
from projects.models.people import ApiToken, Invitation, RememberedAnswer, SignInFailure, User
from projects.models.permissions import Permission
from projects.models.places import SitePlace
from projects.models.sites import OtherFunding, Site, SiteZone, SoilTest

__all__ = [
    "ApiToken",
    "AuditEntry",
    "District",
    "Forecast",
    "Group",
    "Invitation",
    "Job",
    "MeadowProject",
    "Membership",
    "Network",
    "NetworkMembership",
    "OtherFunding",
    "Permission",
    "PlanVersion",
    "RememberedAnswer",
    "SignInFailure",
    "Site",
    "SitePlace",
    "SiteZone",
    "SoilTest",
    "StageChange",
    "User",
    "Village",
    "WorkEntry",
]
