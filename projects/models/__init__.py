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
from projects.models.returns import (
    NameChoice,
    OutcomeReturn,
    ReturnQuestion,
    ReturnResult,
    ReturnStep,
    ReturnVersion,
    Settlement,
    TaxonRecord,
)
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
    "NameChoice",
    "Network",
    "NetworkMembership",
    "OtherFunding",
    "OutcomeReturn",
    "Permission",
    "PlanVersion",
    "RememberedAnswer",
    "ReturnQuestion",
    "ReturnResult",
    "ReturnStep",
    "ReturnVersion",
    "Settlement",
    "SignInFailure",
    "Site",
    "SitePlace",
    "SiteZone",
    "SoilTest",
    "StageChange",
    "TaxonRecord",
    "User",
    "Village",
    "WorkEntry",
]
