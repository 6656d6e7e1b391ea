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


class Licence(models.TextChoices):
    """Open licences that a network's records go out under, by their SPDX identifiers."""

    CC0 = "CC0-1.0", "Creative Commons Zero 1.0: no conditions"
    CC_BY = "CC-BY-4.0", "Creative Commons Attribution 4.0: name the network"
    OGL = "OGL-UK-3.0", "Open Government Licence 3.0: name the network"


#: where each licence is told in full
LICENCES = {
    Licence.CC0: "https://creativecommons.org/publicdomain/zero/1.0/",
    Licence.CC_BY: "https://creativecommons.org/licenses/by/4.0/",
    Licence.OGL: "https://www.nationalarchives.gov.uk/doc/open-government-licence/version/3/",
}


class ExportTable(models.TextChoices):
    """Tables that go out in open formats."""

    SITES = "sites", "Sites"
    PROJECTS = "projects", "Meadow projects"
    RETURNS = "returns", "Yearly returns"
    RECORDS = "records", "Records of plants"
    FACTS = "facts", "Measures of quadrats"


class ExportForm(models.TextChoices):
    """Open formats that tables go out in."""

    CSV = "csv", "CSV"
    PARQUET = "parquet", "Parquet"
    GEOJSON = "geojson", "GeoJSON"
    DARWIN_CORE = "darwin_core", "Darwin Core archive"


class ShieldSide(models.IntegerChoices):
    """Sides of the squares that a plant may be shown by, in metres."""

    KM_1 = 1_000, "A square of 1 km"
    KM_2 = 2_000, "A square of 2 km"
    KM_10 = 10_000, "A square of 10 km"


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


class UploadState(models.TextChoices):
    """How far a sheet that somebody sent has come."""

    WAITING = "waiting", "Waiting to be looked through"
    ACCEPTED = "accepted", "Accepted"


class RoundState(models.TextChoices):
    """How far a grant round has come by people's acts; whether it is open follows from the time."""

    DRAFT = "draft", "Being written"
    ANNOUNCED = "announced", "Announced"
    PANEL = "panel", "Before the panel"
    SETTLED = "settled", "Settled"


class BidState(models.TextChoices):
    """How far a bid has come."""

    DRAFT = "draft", "Being written"
    CHECKED = "checked", "Checked by its group"
    SUBMITTED = "submitted", "Handed in"
    WITHDRAWN = "withdrawn", "Withdrawn"
    DECIDED = "decided", "Decided"


class Proof(models.TextChoices):
    """What a group may have to show before it is given money."""

    CONSTITUTION = "constitution", "A constitution or set of rules"
    ACCOUNTS = "accounts", "Accounts of the last year"
    TWO_SIGNATORIES = "two_signatories", "Two signatories who are not related"
    INSURANCE = "insurance", "Public liability insurance"
    SAFEGUARDING = "safeguarding", "A safeguarding policy, since children come"


class LineCategory(models.TextChoices):
    """What a line of a budget is for."""

    SEED = "seed", "Seed"
    PLUGS = "plugs", "Plug plants"
    HIRE = "hire", "Hire of machines"
    CONTRACTOR = "contractor", "Contractors"
    FUEL = "fuel", "Fuel"
    MATERIALS = "materials", "Materials"
    DISPOSAL = "disposal", "Carting off what was cut or stripped"
    KIT = "kit", "Tools and kit"
    WEEDING = "weeding", "Weeding"
    AFTERCARE = "aftercare", "Yearly care"
    PAID_LABOUR = "paid_labour", "Paid labour"
    VOLUNTEERS = "volunteers", "Volunteer time"
    SURVEY = "survey", "Soil tests and surveys"
    EVENTS = "events", "Events and training"
    TRAVEL = "travel", "Travel"
    OVERHEAD = "overhead", "Overhead and insurance"
    CONTINGENCY = "contingency", "Contingency"
    OTHER = "other", "Something else"


class Skill(models.TextChoices):
    """What volunteers can do."""

    UNSKILLED = "unskilled", "Unskilled"
    SKILLED = "skilled", "Skilled"
    PROFESSIONAL = "professional", "Professional"


class PaidBy(models.TextChoices):
    """Who pays for a line of a budget."""

    GRANT = "grant", "This round"
    MATCH = "match", "Money from elsewhere"
    IN_KIND = "in_kind", "Given in kind"


class PromiseKind(models.TextChoices):
    """What a bid promises, each as a whole number of its unit."""

    SPECIES_PER_M2 = "species_per_m2", "Species in a square metre"
    PLANT = "plant", "A plant that is there"
    AREA_M2 = "area_m2", "Square metres of meadow"
    VOLUNTEER_HOURS = "volunteer_hours", "Hours by volunteers"
    PEOPLE = "people", "People reached"


class DecisionKind(models.TextChoices):
    """What is decided about a bid."""

    FULL = "full", "Awarded in full"
    PART = "part", "Awarded in part"
    CONDITIONAL = "conditional", "Awarded on conditions"
    DEFERRED = "deferred", "Put off to a later round"
    REFUSED = "refused", "Not awarded"


class DecisionState(models.TextChoices):
    """How far a decision has come."""

    DRAFT = "draft", "Being written"
    PUBLISHED = "published", "Published"
    SUPERSEDED = "superseded", "Superseded"


class AwardState(models.TextChoices):
    """Where an award stands."""

    OFFERED = "offered", "Offered"
    ACCEPTED = "accepted", "Accepted"
    DECLINED = "declined", "Declined by the group"
    WITHDRAWN = "withdrawn", "Withdrawn by the funder"
    FINISHED = "finished", "Finished"


class PaymentState(models.TextChoices):
    """Where a payment request stands."""

    ASKED = "asked", "Asked for"
    PAID = "paid", "Paid"
    REFUSED = "refused", "Not paid"


class ChangeKind(models.TextChoices):
    """What a group wants to change after its award."""

    DATE = "date", "Dates"
    BUDGET = "budget", "Budget"
    SEED = "seed", "Seed"
    SITE = "site", "Ground"


class ChangeState(models.TextChoices):
    """Where a request to change stands."""

    ASKED = "asked", "Asked for"
    AGREED = "agreed", "Agreed"
    REFUSED = "refused", "Not agreed"


class PhotoSize(models.TextChoices):
    """In which sizes a photo is kept."""

    LARGE = "large", "Large"
    SMALL = "small", "Small"


class DonorHabitat(models.TextChoices):
    """What sort of grassland a donor meadow is."""

    DRY = "dry", "Dry, neither chalky nor sour"
    DAMP = "damp", "Damp, neither chalky nor sour"
    CHALKY = "chalky", "On chalk or limestone"
    SOUR = "sour", "Sour, on sand or peat"
    WET = "wet", "Wet or flooded in winter"
    UPLAND = "upland", "Upland hay meadow"


class ShareOutState(models.TextChoices):
    """Where a sharing of seed stands."""

    OPEN = "open", "Being worked out"
    ACCEPTED = "accepted", "Accepted"


class HarvestMethod(models.TextChoices):
    """How seed is taken from a donor meadow."""

    HAND = "hand", "Picked by hand"
    BRUSH = "brush", "Brushed off with a machine"
    VACUUM = "vacuum", "Sucked up"
    COMBINE = "combine", "Combined"


class LotOrigin(models.TextChoices):
    """How a lot of seed came to be."""

    HARVESTED = "harvested", "Harvested"
    BOUGHT = "bought", "Bought"
    GIVEN = "given", "Given"
    BLENDED = "blended", "Blended here"
    SPLIT = "split", "Taken off another lot"


class SeedState(models.TextChoices):
    """How dry the seed of a lot is; what is not dry still loses weight."""

    FRESH = "fresh", "Fresh"
    DRYING = "drying", "Drying"
    DRY = "dry", "Dry"


class SeedAct(models.TextChoices):
    """What happened to a lot of seed."""

    MADE = "made", "Came in"
    DRIED = "dried", "Dried"
    CLEANED = "cleaned", "Cleaned"
    PROMISED = "promised", "Promised"
    RELEASED = "released", "Promise taken back"
    HANDED_OVER = "handed_over", "Handed over"
    RETURNED = "returned", "Brought back"
    SOWN = "sown", "Sown of what was handed over"
    USED = "used", "Used"
    SPILT = "spilt", "Spilt"
    BLENDED = "blended", "Blended into another lot"
    SPLIT = "split", "Split off into another lot"
    DISCARDED = "discarded", "Thrown away"
    HELD = "held", "Put on hold"
    CLEARED = "cleared", "Taken off hold"


class Way(models.TextChoices):
    """How the ground of a meadow was made ready: the strongest of what was done."""

    STRIPPED = "stripped", "Turf stripped"
    SPRAYED = "sprayed", "Turf killed with herbicide"
    SHEETED = "sheeted", "Turf smothered under sheet"
    TURNED = "turned", "Ground rotavated or power-harrowed"
    SCARIFIED = "scarified", "Turf scratched open"
    GRAZED = "grazed", "Grazed hard"
    CUT = "cut", "Only cut short"
    NONE = "none", "Nothing done to the ground"
    NOT_TOLD = "not_told", "Not told"


class SeedSource(models.TextChoices):
    """Where the seed of a meadow came from."""

    HARVESTED = "harvested", "Gathered from a meadow"
    MIX = "mix", "A mix from a merchant"
    KINDS = "kinds", "Single kinds"
    PLUGS = "plugs", "Plug plants alone"
    SEVERAL = "several", "Several of these"
    NONE = "none", "Nothing sown"
    NOT_TOLD = "not_told", "Not told"


class SwardClass(models.TextChoices):
    """What a walk makes of a sward by the rules for permanent grassland."""

    SPECIES_RICH = "species_rich", "Species-rich"
    SEMI_IMPROVED = "semi_improved", "Semi-improved"
    NEITHER = "neither", "Neither"
    NOT_JUDGED = "not_judged", "Not judged: too little was counted"


class Course(models.TextChoices):
    """Where a meadow stands beside its forecast, as groups usually manage."""

    AHEAD = "ahead", "Ahead of its forecast"
    ON_COURSE = "on_course", "On course"
    BEHIND = "behind", "Behind its forecast"
    UNKNOWN = "unknown", "Not known"


class KitKind(models.TextChoices):
    """What a network lends."""

    SCARIFIER = "scarifier", "Scarifier"
    HARROW = "harrow", "Harrow"
    BRUSH_HARVESTER = "brush_harvester", "Brush harvester"
    BRUSHCUTTER = "brushcutter", "Brushcutter or strimmer"
    MOWER = "mower", "Mower"
    SPREADER = "spreader", "Spreader or seed drill"
    TRAILER = "trailer", "Trailer"
    CLEANING = "cleaning", "Sieves and seed cleaning"
    HAND_TOOLS = "hand_tools", "Hand tools"
    OTHER = "other", "Something else"


class KitState(models.TextChoices):
    """How far a booking has come."""

    ASKED = "asked", "Asked for"
    AGREED = "agreed", "Agreed"
    OUT = "out", "With the group"
    BACK = "back", "Back again"
    REFUSED = "refused", "Not agreed"
    CANCELLED = "cancelled", "Cancelled"


class KitWay(models.TextChoices):
    """Which way an item is handed."""

    OUT = "out", "Out to the group"
    BACK = "back", "Back to the network"


class KitCondition(models.TextChoices):
    """How an item is when it changes hands."""

    GOOD = "good", "In order"
    WORN = "worn", "Works, but worn"
    FAULTY = "faulty", "Something is wrong with it"


class PlugState(models.TextChoices):
    """Where a promise of plugs stands."""

    PROMISED = "promised", "Promised"
    HANDED_OVER = "handed_over", "Handed over"
    WITHDRAWN = "withdrawn", "Taken back"


class PlugAct(models.TextChoices):
    """What happened to a batch of plugs."""

    SOWN = "sown", "Sown"
    PRICKED_OUT = "pricked_out", "Pricked out"
    LOST = "lost", "Lost"
    PROMISED = "promised", "Promised"
    WITHDRAWN = "withdrawn", "Promise taken back"
    SHORTENED = "shortened", "Promise shortened, since plants died"
    HANDED_OVER = "handed_over", "Handed over"


class GreenHayState(models.TextChoices):
    """Where a day of green hay stands."""

    PLANNED = "planned", "Planned"
    DONE = "done", "Done"
    CALLED_OFF = "called_off", "Called off"
