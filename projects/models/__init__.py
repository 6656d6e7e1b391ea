"""Rows and their constraints, one noun a file."""

from projects.models.audit import AuditEntry
from projects.models.bids import (
    Bid,
    BidAppraisal,
    BidAttachment,
    BidLine,
    BidProject,
    BidPromise,
    BidProof,
    BidStage,
    BidSubmission,
)
from projects.models.decisions import (
    Award,
    AwardVisit,
    ChangeRequest,
    Decision,
    FundedProject,
    MoneyReturned,
    PaymentRequest,
)
from projects.models.diary import WorkEntry
from projects.models.donors import DonorAgreement, DonorMeadow, DonorPlant
from projects.models.exports import Export, Snapshot, SnapshotFile
from projects.models.flags import FlagAnswer, FlagsPut
from projects.models.green_hay import GreenHayDay
from projects.models.groups import Group, Membership
from projects.models.handovers import Handover
from projects.models.harvests import Harvest
from projects.models.jobs import Job
from projects.models.kit import KitBooking, KitFault, KitHalfDay, KitHandOver, KitItem, KitShowing
from projects.models.lots import GerminationTest, LotCount, LotPart, SeedEntry, SeedLot, SeedPromise
from projects.models.meadows import Forecast, MeadowProject, PlanVersion, StageChange
from projects.models.networks import District, Network, NetworkMembership, ShieldedTaxon, Village
from projects.models.people import ApiToken, Invitation, RememberedAnswer, SignInFailure, User
from projects.models.permissions import Permission
from projects.models.photos import PhotoFile, ReturnPhoto
from projects.models.places import SitePlace
from projects.models.plugs import PlugBatch, PlugEvent, PlugPromise
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
from projects.models.reviews import BidNote, Review, ReviewScore
from projects.models.rollups import PrivateYear, ReturnRollup
from projects.models.rounds import Criterion, GrantRound, InKindRate, Interest, RoundAssessor, RoundChoice
from projects.models.share_outs import SeedWish, ShareOut, ShareOutResult
from projects.models.sites import OtherFunding, Site, SiteZone, SoilTest
from projects.models.uploads import RefusedRow, SheetUpload, UploadPart

__all__ = [
    "ApiToken",
    "AuditEntry",
    "Award",
    "AwardVisit",
    "Bid",
    "BidAppraisal",
    "BidAttachment",
    "BidLine",
    "BidNote",
    "BidProject",
    "BidPromise",
    "BidProof",
    "BidStage",
    "BidSubmission",
    "ChangeRequest",
    "Criterion",
    "Decision",
    "District",
    "DonorAgreement",
    "DonorMeadow",
    "DonorPlant",
    "Export",
    "FlagAnswer",
    "FlagsPut",
    "Forecast",
    "FundedProject",
    "GerminationTest",
    "GrantRound",
    "GreenHayDay",
    "Group",
    "Handover",
    "Harvest",
    "InKindRate",
    "Interest",
    "Invitation",
    "Job",
    "KitBooking",
    "KitFault",
    "KitHalfDay",
    "KitHandOver",
    "KitItem",
    "KitShowing",
    "LotCount",
    "LotPart",
    "MeadowProject",
    "Membership",
    "MoneyReturned",
    "NameChoice",
    "Network",
    "NetworkMembership",
    "OtherFunding",
    "OutcomeReturn",
    "PaymentRequest",
    "Permission",
    "PhotoFile",
    "PlanVersion",
    "PlugBatch",
    "PlugEvent",
    "PlugPromise",
    "PrivateYear",
    "RefusedRow",
    "RememberedAnswer",
    "ReturnPhoto",
    "ReturnQuestion",
    "ReturnResult",
    "ReturnRollup",
    "ReturnStep",
    "ReturnVersion",
    "Review",
    "ReviewScore",
    "RoundAssessor",
    "RoundChoice",
    "SeedEntry",
    "SeedLot",
    "SeedPromise",
    "SeedWish",
    "Settlement",
    "ShareOut",
    "ShareOutResult",
    "SheetUpload",
    "ShieldedTaxon",
    "SignInFailure",
    "Site",
    "SitePlace",
    "SiteZone",
    "Snapshot",
    "SnapshotFile",
    "SoilTest",
    "StageChange",
    "TaxonRecord",
    "UploadPart",
    "User",
    "Village",
    "WorkEntry",
]
