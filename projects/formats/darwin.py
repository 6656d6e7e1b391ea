"""A Darwin Core archive: walks and quadrats as events, plants as occurrences in them, measures as facts about them."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import IO, Any, ClassVar, Final
from xml.etree import ElementTree as ET

import orjson

from projects.formats.columns import GEOMETRY, Row

DWC: Final = "http://rs.tdwg.org/dwc/terms/"
_DC: Final = "http://purl.org/dc/terms/"
_TEXT: Final = "http://rs.tdwg.org/dwc/text/"
_EML: Final = "https://eml.ecoinformatics.org/eml-2.2.0"
#: terms of Dublin Core that Darwin Core takes over
_OF_DUBLIN: Final = frozenset({"type", "language", "license", "rightsHolder", "accessRights"})
EVENT_TERMS: Final = (
    "eventID", "parentEventID", "eventType", "eventDate", "year", "samplingProtocol", "sampleSizeValue",
    "sampleSizeUnit", "samplingEffort", "eventRemarks", "habitat", "locationID", "locality", "county", "country",
    "countryCode", "decimalLatitude", "decimalLongitude", "geodeticDatum", "coordinateUncertaintyInMeters",
    "verbatimCoordinates", "verbatimSRS", "footprintWKT", "footprintSRS", "dataGeneralizations",
    "informationWithheld", "type", "language", "license", "rightsHolder", "accessRights", "datasetID", "datasetName",
)  # fmt: skip
OCCURRENCE_TERMS: Final = (
    "occurrenceID", "basisOfRecord", "occurrenceStatus", "scientificName", "verbatimIdentification", "vernacularName",
    "taxonID", "taxonRank", "kingdom", "organismQuantity", "organismQuantityType", "identificationVerificationStatus",
    "dynamicProperties", "informationWithheld", "license", "rightsHolder", "accessRights",
)  # fmt: skip
FACT_TERMS: Final = ("measurementID", "measurementType", "measurementValue", "measurementUnit")
#: what the scales are called where an amount has its type
SCALES: Final[Mapping[str, str]] = {
    "percent": "% cover",
    "domin": "Domin scale",
    "braun_blanquet": "Braun-Blanquet scale",
    "dafor_cover": "DAFOR, by cover",
    "dafor_frequency": "DAFOR, by frequency",
    "abundance": "amount as written, of no known scale",
}
_LAYOUTS: Final[Mapping[str, str]] = {
    "random": "quadrats placed at random",
    "regular": "quadrats placed at regular distances",
    "walk": "quadrats along a walk",
    "chosen": "quadrats placed where somebody chose",
    "fixed": "marked quadrats, looked at every year",
}
_GRADES: Final[Mapping[str, str]] = {
    "learning": "by somebody learning the plants",
    "knows_common": "by somebody who knows the common plants",
    "knows_most": "by somebody who knows most plants",
    "expert": "by an expert",
}
NO_NAMES: Final = "names of surveyors"


@dataclass(frozen=True)
class DataSet:
    """What is said of the whole archive."""

    id: str
    title: str
    about: str
    licence: str
    licence_address: str
    rights_holder: str
    made_on: date


class DarwinCore:
    """An archive of an event core and two extensions (Darwin Core text guide), with its EML."""

    media_type: ClassVar[str] = "application/zip"
    ending: ClassVar[str] = "zip"

    def __init__(self, data_set: DataSet) -> None:
        self.data_set = data_set

    def write(self, file: IO[bytes], rows: Iterable[tuple[str, Row]]) -> int:
        """Write rows named events, records or facts, and return how many records there were."""
        count = 0
        with tempfile.TemporaryFile() as events, tempfile.TemporaryFile() as found, tempfile.TemporaryFile() as facts:
            events.write(_line(EVENT_TERMS))
            found.write(_line(("coreid", *OCCURRENCE_TERMS)))
            facts.write(_line(("coreid", *FACT_TERMS)))
            for table, row in rows:
                if table == "events":
                    event = self.event(row)
                    events.write(_line(event.get(term) for term in EVENT_TERMS))
                elif table == "records":
                    record = occurrence(row)
                    found.write(_line([row["event_id"], *(record.get(term) for term in OCCURRENCE_TERMS)]))
                    count += 1
                elif table == "facts":
                    fact = [
                        f"{row['event_id']}#{row['fact'].replace(' ', '_')}",
                        row["fact"],
                        row["value"],
                        row["unit"],
                    ]
                    facts.write(_line([row["event_id"], *fact]))
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
                self._put(archive, "meta.xml", meta())
                self._put(archive, "eml.xml", self.eml())
                for name, part in (("event.txt", events), ("occurrence.txt", found), ("measurement.txt", facts)):
                    part.seek(0)
                    with archive.open(self._entry(name), "w", force_zip64=True) as target:
                        while piece := part.read(1 << 20):
                            target.write(piece)
        return count

    def _entry(self, name: str) -> zipfile.ZipInfo:
        on = self.data_set.made_on
        entry = zipfile.ZipInfo(name, (on.year, on.month, on.day, 0, 0, 0))
        entry.compress_type = zipfile.ZIP_DEFLATED
        entry.external_attr = 0o644 << 16
        return entry

    def _put(self, archive: zipfile.ZipFile, name: str, text: bytes) -> None:
        archive.writestr(self._entry(name), text)

    def event(self, row: Row) -> dict[str, Any]:
        """A walk or a quadrat in Darwin Core's terms."""
        known = row.get("latitude") is not None
        size = row.get("sample_size_m2")
        return {
            "eventID": row["event_id"],
            "parentEventID": row.get("visit_id") if row.get("visit_id") != row["event_id"] else None,
            "eventType": row["event_type"],
            "eventDate": row["on"],
            "year": row["year"],
            "samplingProtocol": protocol(row),
            "sampleSizeValue": size,
            "sampleSizeUnit": "square metre" if size is not None else None,
            "samplingEffort": effort(row),
            "eventRemarks": "control: ground beside that was not sown" if row.get("part") == "control" else None,
            "habitat": row.get("kind"),
            "locationID": f"urn:uuid:{row['site_id']}" if row.get("site_id") else None,
            "locality": row.get("site"),
            "county": row["network"],
            "country": "United Kingdom",
            "countryCode": "GB",
            "decimalLatitude": row.get("latitude"),
            "decimalLongitude": row.get("longitude"),
            "geodeticDatum": "EPSG:4326" if known else None,
            "coordinateUncertaintyInMeters": row.get("coordinate_uncertainty_m"),
            "verbatimCoordinates": row.get("grid_reference"),
            "verbatimSRS": "EPSG:27700" if row.get("grid_reference") else None,
            "footprintWKT": wkt(row.get(GEOMETRY)),
            "footprintSRS": "EPSG:4326" if row.get(GEOMETRY) else None,
            "dataGeneralizations": row.get("generalised"),
            "informationWithheld": row.get("withheld"),
            "type": "Event",
            "language": "en",
            "license": self.data_set.licence_address,
            "rightsHolder": row["rights_holder"],
            "accessRights": row["access"],
            "datasetID": self.data_set.id,
            "datasetName": self.data_set.title,
        } | ({"license": row["licence_address"]} if row.get("licence_address") else {})

    def eml(self) -> bytes:
        """What is said of the archive, in the Ecological Metadata Language; organisations only, no person."""
        data = self.data_set
        root = ET.Element(
            "eml:eml",
            {"xmlns:eml": _EML, "packageId": data.id, "system": "https://doi.org/10.5063/F11834T2", "xml:lang": "en"},
        )
        part = ET.SubElement(root, "dataset")
        ET.SubElement(part, "title", {"xml:lang": "en"}).text = _shown(data.title)
        for role in ("creator", "metadataProvider"):
            ET.SubElement(ET.SubElement(part, role), "organizationName").text = _shown(data.rights_holder)
        ET.SubElement(part, "pubDate").text = data.made_on.isoformat()
        ET.SubElement(part, "language").text = "en"
        ET.SubElement(ET.SubElement(part, "abstract"), "para").text = _shown(data.about)
        rights = ET.SubElement(ET.SubElement(part, "intellectualRights"), "para")
        rights.text = "This work is licensed under "
        link = ET.SubElement(rights, "ulink", {"url": data.licence_address})
        ET.SubElement(link, "citetitle").text = data.licence
        link.tail = "."
        ET.SubElement(ET.SubElement(part, "contact"), "organizationName").text = _shown(data.rights_holder)
        return _xml(root)


def protocol(row: Row) -> str:
    """How was looked, in words."""
    if row["event_type"] == "Site Visit":
        return "list of the plants seen anywhere on the site"
    if row["event_type"] != "Sample":
        return "list of plants"
    return f"list of the plants in a quadrat; {_LAYOUTS.get(row['layout'], 'how quadrats were placed was not said')}"


def effort(row: Row) -> str | None:
    """How much was looked at, and how well the surveyor knows plants; never who it was."""
    grade = _GRADES.get(row.get("surveyor_grade") or "")
    if row["event_type"] == "Sample":
        return f"1 quadrat, {grade}" if grade else "1 quadrat"
    if row["event_type"] != "Site Visit":
        return None
    number = row.get("quadrats") or 0
    quadrats = f"walk with {number} quadrat{'' if number == 1 else 's'}"
    return f"{quadrats}, {grade}" if grade else quadrats


def occurrence(row: Row) -> dict[str, Any]:
    """A plant in a quadrat or on a site, in Darwin Core's terms."""
    amount = row["value"] if row["scale"] in SCALES and row.get("value") else None
    return {
        "occurrenceID": row["occurrence_id"],
        "basisOfRecord": row["basis_of_record"],
        "occurrenceStatus": row["occurrence_status"],
        "scientificName": row["scientific_name"],
        "verbatimIdentification": row["name_as_written"],
        "vernacularName": row.get("english_name"),
        "taxonID": row.get("taxon"),
        "taxonRank": row.get("taxon_rank"),
        "kingdom": "Plantae" if row.get("taxon") else None,
        "organismQuantity": amount,
        "organismQuantityType": SCALES[row["scale"]] if amount is not None else None,
        "identificationVerificationStatus": row["verification"],
        # readers of the older vocabulary find its word here
        "dynamicProperties": orjson.dumps(
            {"occurrenceStatusBefore2026": row["occurrence_status_before_2026"]}
        ).decode(),
        "informationWithheld": row.get("withheld"),
        "license": row["licence_address"],
        "rightsHolder": row["rights_holder"],
        "accessRights": row["access"],
    }  # fmt: skip


def meta() -> bytes:
    """The archive's descriptor: which file has which terms in which columns."""
    root = ET.Element("archive", {"xmlns": _TEXT, "metadata": "eml.xml"})
    for tag, kind, name, key, terms in (
        ("core", "Event", "event.txt", "id", EVENT_TERMS),
        ("extension", "Occurrence", "occurrence.txt", "coreid", OCCURRENCE_TERMS),
        ("extension", "MeasurementOrFact", "measurement.txt", "coreid", FACT_TERMS),
    ):
        part = ET.SubElement(
            root, tag,
            {
                "encoding": "UTF-8", "fieldsTerminatedBy": "\\t", "linesTerminatedBy": "\\n", "fieldsEnclosedBy": "",
                "ignoreHeaderLines": "1", "rowType": DWC + kind,
            },
        )  # fmt: skip
        ET.SubElement(ET.SubElement(part, "files"), "location").text = name
        ET.SubElement(part, key, {"index": "0"})
        for index, term in enumerate(terms, start=0 if tag == "core" else 1):
            ET.SubElement(part, "field", {"index": str(index), "term": _address(term)})
    return _xml(root)


def _address(term: str) -> str:
    return (_DC if term in _OF_DUBLIN else DWC) + term


def wkt(geometry: Mapping[str, Any] | None) -> str | None:
    """A polygon's outline in Well-known Text, longitude before latitude; points need none."""
    if geometry is None or geometry["type"] != "Polygon":
        return None
    rings = (", ".join(f"{lon} {lat}" for lon, lat in ring) for ring in geometry["coordinates"])
    return f"POLYGON ({', '.join(f'({ring})' for ring in rings)})"


def _line(values: Iterable[Any]) -> bytes:
    return ("\t".join(map(_field, values)) + "\n").encode()


def _field(value: Any) -> str:
    """A value without what ends a field or a line: blanks stand for tabs and ends of lines."""
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return _shown(str(value))


def _shown(text: str) -> str:
    return (
        " ".join(text.split())
        if any(letter in text for letter in "\t\r\n\x0b\x0c\x1c\x1d\x1e\x85\u2028\u2029")
        else text
    )


def _xml(root: ET.Element) -> bytes:
    ET.indent(root)
    found: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return found + b"\n"
