"""The archive's own description, in the Ecological Metadata Language (EML 2.2.0)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from xml.etree import ElementTree as xml

from django.db.models import Max, Min

from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.exporting.darwin.dataset import Dataset
from surveys.exporting.models import Licence
from surveys.models import Site, Visit

EML = "https://eml.ecoinformatics.org/eml-2.2.0"
_LICENCE_NAMES = {
    Licence.CC0: "Creative Commons Zero v1.0 Universal",
    Licence.CC_BY: "Creative Commons Attribution 4.0 International",
    Licence.CC_BY_NC: "Creative Commons Attribution Non Commercial 4.0 International",
}
# Licence identifiers of the SPDX list.
_LICENCE_IDS = {Licence.CC0: "CC0-1.0", Licence.CC_BY: "CC-BY-4.0", Licence.CC_BY_NC: "CC-BY-NC-4.0"}


@dataclass(frozen=True)
class Extent:
    """Where and when the visits of an archive were: degrees as the archive tells them, west to east."""

    west: float
    east: float
    south: float
    north: float
    first: date
    last: date


def extent_of(visits: GroupOwnedQuerySet[Visit], dataset: Dataset) -> Extent | None:
    """The box and the span around the visits; None without any."""
    days = visits.order_by().aggregate(first=Min("visited_on"), last=Max("visited_on"))
    sites = Site.objects.of_group(dataset.group).filter(pk__in=visits.order_by().values("site"))
    places = [dataset.place_of(site) for site in sites]
    if not places:
        return None
    longitudes = [float(each.longitude) for each in places]
    latitudes = [float(each.latitude) for each in places]
    return Extent(min(longitudes), max(longitudes), min(latitudes), max(latitudes), days["first"], days["last"])


def eml_xml(dataset: Dataset, extent: Extent | None, today: date) -> bytes:
    """The description as a file."""
    xml.register_namespace("eml", EML)
    attributes = {
        "packageId": f"{dataset.number}/{today.isoformat()}",
        "system": dataset.page,
        "scope": "system",
    }
    root = xml.Element(f"{{{EML}}}eml", attributes)
    part = xml.SubElement(root, "dataset")
    _add(part, "alternateIdentifier", dataset.number)
    _add(part, "title", dataset.name)
    _add_party(part, "creator", dataset)
    _add_party(part, "metadataProvider", dataset)
    _add(part, "pubDate", today.isoformat())
    _add(part, "language", "en")
    _add_text(part, "abstract", _abstract(dataset))
    _add_text(part, "intellectualRights", _rights(dataset))
    _add_licence(part, dataset)
    if extent:
        _add_coverage(part, dataset, extent)
    _add_party(part, "contact", dataset)
    _add_methods(part)
    xml.indent(root)
    written: bytes = xml.tostring(root, encoding="UTF-8", xml_declaration=True)
    return written


def _add(parent: xml.Element, name: str, text: str) -> None:
    xml.SubElement(parent, name).text = text


def _add_text(parent: xml.Element, name: str, text: str) -> None:
    _add(xml.SubElement(parent, name), "para", text)


def _add_party(parent: xml.Element, name: str, dataset: Dataset) -> None:
    party = xml.SubElement(parent, name)
    _add(party, "organizationName", dataset.group.name)
    if dataset.terms.contact_email:
        _add(party, "electronicMailAddress", dataset.terms.contact_email)
    _add(party, "onlineUrl", dataset.page)


def _abstract(dataset: Dataset) -> str:
    about = " ".join(dataset.group.about.split())
    return (
        "Aquatic invertebrates found by volunteers who kick-sample the same river sites in the same way at "
        "regular visits, with measurements of the water and the biotic indices computed from each visit. Every "
        f"visit was checked by a coordinator who took no part in it. {about}"
    ).strip()


def _rights(dataset: Dataset) -> str:
    name = _LICENCE_NAMES[Licence(dataset.terms.licence)]
    return (
        f"This work is licensed under {name} ({dataset.terms.licence_address}). Please name: {dataset.holder}."
    )


def _add_licence(parent: xml.Element, dataset: Dataset) -> None:
    licence = Licence(dataset.terms.licence)
    part = xml.SubElement(parent, "licensed")
    _add(part, "licenseName", _LICENCE_NAMES[licence])
    _add(part, "url", dataset.terms.licence_address)
    _add(part, "identifier", _LICENCE_IDS[licence])


def _add_coverage(parent: xml.Element, dataset: Dataset, extent: Extent) -> None:
    part = xml.SubElement(parent, "coverage")
    place = xml.SubElement(part, "geographicCoverage")
    blurred = " Places are rounded." if dataset.is_blurred else ""
    _add(place, "geographicDescription", f"River sites of {dataset.group.name}.{blurred}")
    box = xml.SubElement(place, "boundingCoordinates")
    for side in ("west", "east", "north", "south"):
        _add(box, f"{side}BoundingCoordinate", str(getattr(extent, side)))
    span = xml.SubElement(xml.SubElement(part, "temporalCoverage"), "rangeOfDates")
    for name, day in (("beginDate", extent.first), ("endDate", extent.last)):
        _add(xml.SubElement(span, name), "calendarDate", day.isoformat())
    kind = xml.SubElement(xml.SubElement(part, "taxonomicCoverage"), "taxonomicClassification")
    _add(kind, "taxonRankName", "kingdom")
    _add(kind, "taxonRankValue", "Animalia")
    _add(kind, "commonName", "aquatic invertebrates")


def _add_methods(parent: xml.Element) -> None:
    part = xml.SubElement(parent, "methods")
    for text in (
        "A hand net is held downstream while the bed is disturbed by kicking, for a planned number of "
        "kicks and seconds at each of a planned number of spots; what was done is said with each event.",
        "Animals are sorted, named with the help of a recording list and counted, exactly or as one of the "
        "ranges 1-9, 10-99, 100-999 and 1000+. A taxon looked for and not found is recorded as absent.",
    ):
        _add_text(xml.SubElement(part, "methodStep"), "description", text)
