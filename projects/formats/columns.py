"""The columns of each table that goes out: what is in them, in which unit. The data dictionary is made of these."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, Literal

#: a row by the names of its columns; what is left out is not known. "geometry" holds a place's GeoJSON beside them
Row = Mapping[str, Any]
Kind = Literal["text", "integer", "number", "date"]
GEOMETRY: Final = "geometry"


@dataclass(frozen=True)
class Column:
    """One column."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    #: the term of Darwin Core that says the same, where there is one
    term: str = ""


_LICENCE: Final = (
    Column("licence", "text", "Licence of the row, by its SPDX identifier.", term="license"),
    Column("rights_holder", "text", "Who is to be named when the row is used.", term="rightsHolder"),
)
_NETWORK: Final = (
    Column("network_id", "text", "Id of the network, one for each county."),
    Column("network", "text", "Name of the network."),
)
_SITE: Final = (
    Column("site_id", "text", "Id of the site.", term="locationID"),
    Column("site", "text", "Name of the site.", term="locality"),
    Column("group", "text", "Group of neighbours that cares for it."),
    Column("district", "text", "District of the county."),
)
_PLACE: Final = (
    Column("grid_reference", "text", "The square of the national grid that may be shown.", term="verbatimCoordinates"),
    Column("square_side_m", "integer", "Side of that square; 1 where the place itself is shown.", "m"),
    Column("latitude", "number", "Middle of the square, north, WGS84.", "degree", "decimalLatitude"),
    Column("longitude", "number", "Middle of the square, east, WGS84.", "degree", "decimalLongitude"),
    Column(
        "coordinate_uncertainty_m", "integer",
        "Radius of a circle around the middle that holds the whole square or place.", "m",
        "coordinateUncertaintyInMeters",
    ),
    Column("generalised", "text", "How the place was made coarser.", term="dataGeneralizations"),
    Column("withheld", "text", "What is held back.", term="informationWithheld"),
)  # fmt: skip
_EVENT: Final = (
    Column("event_id", "text", "Id of the quadrat, or of the walk for what was seen outside quadrats.", term="eventID"),
    Column("visit_id", "text", "Id of the walk that the quadrat belongs to.", term="parentEventID"),
    Column("project_id", "text", "Id of the meadow project."),
    Column("year", "integer", "Year of the return.", term="year"),
    Column("on", "text", "Day of the walk, YYYY-MM-DD; only the year where a plant is shown coarsely.",
           term="eventDate"),
    Column("quadrat", "integer", "Number of the quadrat in its walk; empty for the whole site."),
    Column("part", "text", "sown, or control: ground beside that was not sown."),
    Column("quadrat_area_m2", "number", "Area of the quadrat.", "m²", "sampleSizeValue"),
    Column("layout", "text", "How quadrats were placed: random, regular, walk, chosen, fixed, not_said.",
           term="samplingProtocol"),
    Column("surveyor_grade", "text", "How well the surveyor knows plants; no name is given.", term="samplingEffort"),
)  # fmt: skip

SITES: Final = (
    *_SITE, *_NETWORK,
    Column("kind", "text", "Kind of place, such as verge or churchyard.", term="habitat"),
    Column("area_m2", "number", "Area of the site.", "m²"),
    Column("meadow_area_m2", "number", "Area that is to become meadow, where it is less.", "m²"),
    *_PLACE, *_LICENCE,
)  # fmt: skip
PROJECTS: Final = (
    Column("project_id", "text", "Id of the meadow project."),
    Column("project", "text", "Name of the meadow project."),
    Column("stage", "text", "Where it stands: idea, planned, ready, prepared, sown, aftercare, failed and so on."),
    Column("sown_on", "date", "Day of the (first) sowing or planting."),
    *_SITE, *_NETWORK, *_PLACE, *_LICENCE,
)  # fmt: skip
RETURNS: Final = (
    Column("return_id", "text", "Id of the year's return."),
    Column("project_id", "text", "Id of the meadow project."),
    Column("year", "integer", "Year of the return."),
    Column("answered", "text", "surveyed, nothing_done or failed."),
    Column("version", "integer", "Number of the version that counts."),
    Column("checksum", "text", "SHA-256 of what was sent, as kept."),
    Column("first_walk_on", "date", "Day of the first walk with plants."),
    Column("quadrats", "integer", "Quadrats looked at on sown ground, of all walks together."),
    Column("layout", "text", "How quadrats were placed."),
    Column("surveyor_grade", "text", "How well the surveyor knows plants; no name is given."),
    Column("species_per_quadrat_mean", "number", "Mean number of kinds in a quadrat of sown ground.", "kinds"),
    Column("species_per_quadrat_sd", "number", "Standard deviation of that number.", "kinds"),
    Column("kinds_in_all", "integer", "Different kinds in quadrats and outside them.", "kinds"),
    *_SITE, *_NETWORK, *_PLACE, *_LICENCE,
)  # fmt: skip
RECORDS: Final = (
    Column("occurrence_id", "text", "Id of the record; stays when a return is sent anew with the same name in the same "
           "quadrat.", term="occurrenceID"),
    *_EVENT,
    Column("taxon", "text", "Key of the plant in /reference/taxa/; empty where the name is not settled."),
    Column("scientific_name", "text", "Scientific name; the name as written where it is not settled.",
           term="scientificName"),
    Column("english_name", "text", "English name.", term="vernacularName"),
    Column("taxon_rank", "text", "species, genus, hybrid, aggregate.", term="taxonRank"),
    Column("name_as_written", "text", "The name as it was written.", term="verbatimIdentification"),
    Column("scale", "text", "How the amount was written: presence, percent, domin, braun_blanquet, dafor_cover, "
           "dafor_frequency, abundance.", term="organismQuantityType"),
    Column("value", "text", "The amount as the scale writes it; percent is of the quadrat's area.",
           term="organismQuantity"),
    Column("occurrence_status", "text", "detected or notDetected, the standard's words since 2026.",
           term="occurrenceStatus"),
    Column("occurrence_status_before_2026", "text", "present or absent, the standard's words until then."),
    Column("verification", "text", "Whether the network agreed to the return, and whether the name is settled.",
           term="identificationVerificationStatus"),
    Column("basis_of_record", "text", "Always HumanObservation.", term="basisOfRecord"),
    *_SITE, *_NETWORK, *_PLACE,
    Column("access", "text", "Who may have it.", term="accessRights"),
    *_LICENCE,
)  # fmt: skip
FACTS: Final = (
    *_EVENT,
    Column("fact", "text", "What was measured: bare ground, litter, forb cover, sward height, plants of yellow rattle.",
           term="measurementType"),
    Column("value", "number", "What was found, in the unit beside it.", term="measurementValue"),
    Column("unit", "text", "%, cm, or plants in the quadrat.", term="measurementUnit"),
    *_SITE, *_NETWORK, *_PLACE,
    Column("access", "text", "Who may have it.", term="accessRights"),
    *_LICENCE,
)  # fmt: skip

TABLES: Final[Mapping[str, tuple[Column, ...]]] = MappingProxyType(
    {"sites": SITES, "projects": PROJECTS, "returns": RETURNS, "records": RECORDS, "facts": FACTS}
)
ABOUT: Final[Mapping[str, str]] = MappingProxyType(
    {
        "sites": "A row for each site that is shown to everybody.",
        "projects": "A row for each meadow project of such a site.",
        "returns": "A row for each agreed yearly return of such a site, with what it comes to.",
        "records": "A row for each kind of plant in each quadrat, or seen outside them, of such a return.",
        "facts": "A row for each measure of each quadrat of such a return.",
    }
)


def columns_of(table: str) -> tuple[Column, ...]:
    """Return the columns of a table."""
    return TABLES[table]
