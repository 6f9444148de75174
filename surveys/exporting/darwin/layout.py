"""The files of an archive: which term stands in which column."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from xml.etree import ElementTree as xml

DWC = "http://rs.tdwg.org/dwc/terms/"
DC = "http://purl.org/dc/elements/1.1/"
DCTERMS = "http://purl.org/dc/terms/"
TEXT_GUIDE = "http://rs.tdwg.org/dwc/text/"
_ELSEWHERE = {
    "type": DC,
    "language": DC,
    "modified": DCTERMS,
    "license": DCTERMS,
    "rightsHolder": DCTERMS,
    "accessRights": DCTERMS,
}
Row = Mapping[str, object]


@dataclass(frozen=True)
class File:
    """One file: its name, what a row of it is, and its terms in order; the first column names the event."""

    name: str
    row_type: str
    terms: tuple[str, ...]

    def line(self, row: Row) -> str:
        """A row as a line. Tabs and line ends in a value would shift what follows: they become blanks."""
        return "\t".join(" ".join(str(row.get(term, "")).split()) for term in self.terms) + "\n"

    @property
    def header(self) -> str:
        return "\t".join(self.terms) + "\n"


EVENTS = File(
    "event.txt",
    f"{DWC}Event",
    (
        "eventID",
        "type",
        "modified",
        "language",
        "license",
        "rightsHolder",
        "datasetID",
        "datasetName",
        "informationWithheld",
        "dataGeneralizations",
        "dynamicProperties",
        "eventDate",
        "eventTime",
        "year",
        "month",
        "day",
        "samplingProtocol",
        "sampleSizeValue",
        "sampleSizeUnit",
        "samplingEffort",
        "eventRemarks",
        "locationID",
        "waterBody",
        "locality",
        "decimalLatitude",
        "decimalLongitude",
        "geodeticDatum",
        "coordinateUncertaintyInMeters",
    ),
)
OCCURRENCES = File(
    "occurrence.txt",
    f"{DWC}Occurrence",
    (
        "eventID",
        "occurrenceID",
        "basisOfRecord",
        "occurrenceStatus",
        "individualCount",
        "organismQuantity",
        "organismQuantityType",
        "recordedBy",
        "scientificName",
        "taxonRank",
        "kingdom",
        "order",
        "family",
        "verbatimIdentification",
        "identificationVerificationStatus",
        "identificationRemarks",
        "occurrenceRemarks",
    ),
)
MEASUREMENTS = File(
    "extendedmeasurementorfact.txt",
    "http://rs.iobis.org/obis/terms/ExtendedMeasurementOrFact",
    (
        "eventID",
        "measurementID",
        "measurementType",
        "measurementValue",
        "measurementAccuracy",
        "measurementUnit",
        "measurementDeterminedDate",
        "measurementMethod",
        "measurementRemarks",
    ),
)
FILES = (EVENTS, OCCURRENCES, MEASUREMENTS)


def term_address(term: str) -> str:
    """The term's full name: "eventID" -> "http://rs.tdwg.org/dwc/terms/eventID"."""
    return f"{_ELSEWHERE.get(term, DWC)}{term}"


def meta_xml() -> bytes:
    """The description of the archive (Darwin Core text guide): the core first, then its extensions."""
    xml.register_namespace("", TEXT_GUIDE)
    root = xml.Element(f"{{{TEXT_GUIDE}}}archive", {"metadata": "eml.xml"})
    for file in FILES:
        _describe(root, file, "core" if file is EVENTS else "extension")
    xml.indent(root)
    written: bytes = xml.tostring(root, encoding="UTF-8", xml_declaration=True)
    return written


def _describe(root: xml.Element, file: File, kind: str) -> None:
    attributes = {
        "encoding": "UTF-8",
        "fieldsTerminatedBy": "\\t",
        "linesTerminatedBy": "\\n",
        "fieldsEnclosedBy": "",
        "ignoreHeaderLines": "1",
        "rowType": file.row_type,
    }
    part = xml.SubElement(root, f"{{{TEXT_GUIDE}}}{kind}", attributes)
    files = xml.SubElement(part, f"{{{TEXT_GUIDE}}}files")
    xml.SubElement(files, f"{{{TEXT_GUIDE}}}location").text = file.name
    xml.SubElement(part, f"{{{TEXT_GUIDE}}}{'id' if kind == 'core' else 'coreid'}", {"index": "0"})
    for index, term in enumerate(file.terms):
        # The first column of an extension is named by its coreid already.
        if index or kind == "core":
            attributes = {"index": str(index), "term": term_address(term)}
            xml.SubElement(part, f"{{{TEXT_GUIDE}}}field", attributes)
