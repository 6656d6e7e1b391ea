"""Closed lists of words, each with the label that people read."""

from django.db import models


class GroupRole(models.TextChoices):
    """What somebody is in a group."""

    MEMBER = "member", "Member"
    LEAD = "lead", "Lead"


class NetworkRole(models.TextChoices):
    """What somebody is in a county's network."""

    COORDINATOR = "coordinator", "Coordinator"
    ASSESSOR = "assessor", "Assessor"
    FUND_MANAGER = "fund_manager", "Fund manager"
    ANALYST = "analyst", "Analyst"


class Publicity(models.TextChoices):
    """How precisely a place may be shown to everybody."""

    EXACT = "exact", "The place itself, with its outline if there is one"
    SQUARE_100_M = "square_100_m", "A square of 100 m"
    SQUARE_1_KM = "square_1_km", "A square of 1 km"
    SQUARE_2_KM = "square_2_km", "A square of 2 km"
    SQUARE_10_KM = "square_10_km", "A square of 10 km"
    PRIVATE = "private", "Not at all: only the group and the network’s coordinators see it"


class PlaceGiven(models.TextChoices):
    """How a place was told."""

    GRID_REFERENCE = "grid_reference", "Grid reference"
    COORDINATES = "coordinates", "Latitude and longitude"
    OUTLINE = "outline", "Outline"
    VILLAGE = "village", "Only the village"


class Need(models.TextChoices):
    """Whether a permission is needed."""

    UNKNOWN = "unknown", "Not found out yet"
    NEEDED = "needed", "Needed"
    NOT_NEEDED = "not_needed", "Not needed"


class PermissionState(models.TextChoices):
    """How far a permission has come."""

    NOT_ASKED = "not_asked", "Not asked yet"
    ASKED = "asked", "Asked, no answer yet"
    GIVEN = "given", "Given"
    REFUSED = "refused", "Refused"


class Stage(models.TextChoices):
    """Where a meadow project stands."""

    IDEA = "idea", "An idea"
    PLANNED = "planned", "Planned"
    READY = "ready", "Ready to start"
    PREPARED = "prepared", "Ground prepared"
    SOWN = "sown", "Sown"
    AFTERCARE = "aftercare", "In aftercare"
    FAILED = "failed", "Did not take"
    LAPSED = "lapsed", "Lapsed"
    HANDED_OVER = "handed_over", "Handed over"
    RESOWN = "resown", "Sown again"


class Cause(models.TextChoices):
    """Why a project ended early; nobody is blamed."""

    WEATHER = "weather", "The weather"
    WEEDS = "weeds", "Docks, thistles or other weeds"
    GRASS = "grass", "The grass was too strong"
    SEED = "seed", "The seed did not come up"
    CUT_MISSED = "cut_missed", "The cut could not be done"
    PEOPLE = "people", "Too few people were left"
    GROUND_LOST = "ground_lost", "The ground was wanted for something else"
    MONEY = "money", "The money ended"
    PERMISSION = "permission", "A permission was refused or ran out"
    DAMAGE = "damage", "Damage: vehicles, animals, digging"
    OTHER = "other", "Something else"
    UNKNOWN = "unknown", "Nobody knows"


class Work(models.TextChoices):
    """What a line of the work diary is about."""

    CUT = "cut", "Cutting"
    RAKE = "rake", "Raking up and carrying off"
    PREPARE = "prepare", "Preparing the ground"
    SOW = "sow", "Sowing"
    PLANT = "plant", "Planting plugs"
    WEED = "weed", "Weeding"
    GRAZE = "graze", "Grazing, fencing, moving stock"
    SEED = "seed", "Gathering or cleaning seed"
    SURVEY = "survey", "Looking and counting"
    PURCHASE = "purchase", "Buying or hiring"
    MEETING = "meeting", "Meeting, asking, writing"
    OTHER = "other", "Something else"


class Via(models.TextChoices):
    """By which door an act came in."""

    PAGE = "page", "A page"
    API = "api", "The API"
    COMMAND = "command", "A command"
    TASK = "task", "A job"


class Scope(models.TextChoices):
    """What a token lets a program do in its owner's name."""

    READ = "read", "Read what you may read"
    WRITE = "write", "Change what you may change"
    EXACT_PLACES = "exact_places", "Read exact places where you may"


class ReturnState(models.TextChoices):
    """How far a yearly return has come."""

    SENT = "sent", "Sent"
    CHECKING = "checking", "Being checked"
    SENT_BACK = "sent_back", "Sent back with questions"
    AGREED = "agreed", "Agreed"


class CameBy(models.TextChoices):
    """How a return came in."""

    FORM = "form", "Typed into the form"
    SHEET = "sheet", "Spreadsheet"
    FIELD_SHEET = "field_sheet", "Field sheet, typed in"
    API = "api", "The API"
