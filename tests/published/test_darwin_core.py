"""Our archives, opened by a reader that is not ours and held against the published terms and schemas.

Reader: python-dwca-reader. Terms: data/darwin_core_terms.csv (its sources in data/SOURCE.md). Metadata: the
rules of EML 2.2.0 as the package metapype carries them. Value forms: Darwin Core's own definitions of each
term, from memory.
"""

from __future__ import annotations

import csv
import re
import warnings
import zipfile
from collections import defaultdict
from datetime import date
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as xml

import pytest
from dwca.darwincore.utils import qualname
from dwca.read import DwCAReader

from portal.accounts.models import Membership
from surveys.exporting.models import LICENCE_ADDRESSES, Licence
from surveys.models import Visit
from tests.conftest import Cast
from tests.exporting.archives import approved, archive_file, with_terms
from tests.factories import submit

with warnings.catch_warnings():
    # It reads its rules in a way that is going out of use.
    warnings.simplefilter("ignore", DeprecationWarning)
    from metapype.eml import validate
    from metapype.model import metapype_io

pytestmark = pytest.mark.django_db
DATA = Path(__file__).parent / "data"
FACT = "http://rs.iobis.org/obis/terms/ExtendedMeasurementOrFact"
URN = re.compile(r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
Data = dict[str, str]


def published_terms() -> dict[str, set[str]]:
    found: dict[str, set[str]] = defaultdict(set)
    with (DATA / "darwin_core_terms.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            found[row["row_type"]].add(row["term"])
    return found


@pytest.fixture
def visit(cast: Cast) -> Visit:
    with_terms(cast)
    return approved(cast)


@pytest.fixture
def place(cast: Cast, visit: Visit, tmp_path: Path) -> str:
    return archive_file(cast, tmp_path)


def short(row: Any) -> Data:
    """The data of a row by the last part of each term."""
    return {term.rpartition("/")[2]: value for term, value in row.data.items()}


def rows_of(place: str, row_type: str = "") -> list[Data]:
    """Rows of the core, or of one extension, as the reader gives them."""
    with DwCAReader(place) as archive:
        cores = list(archive.rows)
        found = [each for core in cores for each in core.extensions if each.rowtype == row_type]
        return [short(each) for each in (found if row_type else cores)]


def occurrences(place: str) -> dict[str, Data]:
    return {row["verbatimIdentification"]: row for row in rows_of(place, qualname("Occurrence"))}


class TestReader:
    def test_it_opens_the_archive_with_events_at_its_core(self, place: str, visit: Visit) -> None:
        with DwCAReader(place) as archive:
            assert archive.core_contains_term(qualname("eventID"))
            assert archive.descriptor.core.type == qualname("Event")
            assert {each.type for each in archive.descriptor.extensions} == {qualname("Occurrence"), FACT}
            assert [row.id for row in archive.rows] == [f"urn:uuid:{visit.pk}"]

    def test_it_ties_every_occurrence_and_fact_to_its_event(self, place: str, visit: Visit) -> None:
        assert len(rows_of(place, qualname("Occurrence"))) == visit.counts.count()
        measured = {row["measurementType"] for row in rows_of(place, FACT)}
        assert {"water temperature", "kicks at spot 1", "share of the tray that was sorted"} <= measured

    def test_no_line_has_more_or_fewer_cells_than_its_file_has_terms(self, place: str) -> None:
        with zipfile.ZipFile(place) as packed:
            for name in (each for each in packed.namelist() if each.endswith(".txt")):
                lines = packed.read(name).decode().removesuffix("\n").split("\n")
                assert len({line.count("\t") for line in lines}) == 1, name


class TestTerms:
    def test_every_term_is_published_for_its_kind_of_row(self, place: str) -> None:
        known = published_terms()
        with DwCAReader(place) as archive:
            for part in (archive.descriptor.core, *archive.descriptor.extensions):
                assert part.terms <= known[part.type], part.type

    def test_no_term_of_other_standards_passes_as_published(self) -> None:
        assert "http://rs.tdwg.org/dwc/terms/siteCode" not in published_terms()[qualname("Event")]

    def test_the_description_is_in_the_order_of_the_text_guides_schema(self, place: str) -> None:
        # tdwg_dwc_text.xsd: archive holds core, then extensions; each holds files, id or coreid, then fields.
        with zipfile.ZipFile(place) as packed:
            root = xml.fromstring(packed.read("meta.xml"))
        names = [[part.tag.rpartition("}")[2] for part in each] for each in root]
        assert [each.tag for each in root] == [
            f"{{http://rs.tdwg.org/dwc/text/}}{n}" for n in ("core", *["extension"] * 2)
        ]
        for kind, parts in zip(("id", "coreid", "coreid"), names, strict=True):
            assert parts[:2] == ["files", kind]
            assert set(parts[2:]) == {"field"}


class TestEvents:
    def test_dates_times_and_places_have_the_forms_of_their_terms(self, place: str, visit: Visit) -> None:
        (event,) = rows_of(place)
        assert date.fromisoformat(event["eventDate"]) == visit.visited_on
        assert re.fullmatch(r"10:00(\+\d\d:00|Z)/11:10(\+\d\d:00|Z)", event["eventTime"])
        assert (event["decimalLatitude"], event["decimalLongitude"]) == ("54.50000", "-2.50000")
        assert (event["geodeticDatum"], event["coordinateUncertaintyInMeters"]) == ("EPSG:4326", "10")

    def test_effort_is_a_size_with_its_unit_and_words(self, place: str) -> None:
        (event,) = rows_of(place)
        assert (event["sampleSizeValue"], event["sampleSizeUnit"]) == ("90", "second")
        assert event["samplingEffort"] == "3 spots, 9 kicks, 90 seconds of kicking"
        assert "Kick sampling" in event["samplingProtocol"]

    @pytest.mark.parametrize("licence", list(Licence))
    def test_each_event_names_licence_and_holder(self, cast: Cast, tmp_path: Path, licence: Licence) -> None:
        with_terms(cast, licence=licence, attribution="Friends of Alder Beck")
        approved(cast)
        (event,) = rows_of(archive_file(cast, tmp_path))
        assert event["license"] == LICENCE_ADDRESSES[licence]
        assert event["rightsHolder"] == "Friends of Alder Beck"

    @pytest.mark.parametrize(
        ("blur", "latitude", "uncertainty"), [("0.01", "54.50", 798), ("0.1", "54.5", 7882)]
    )
    def test_a_group_that_hides_places_has_them_rounded_and_says_so(
        self, cast: Cast, tmp_path: Path, blur: str, latitude: str, uncertainty: int
    ) -> None:
        # Half the diagonal of a cell of 0.01 degree of 111,320 m is 787.2 m; the site's own 10 m come on top.
        with_terms(cast, blur=blur)
        approved(cast)
        (event,) = rows_of(archive_file(cast, tmp_path))
        assert event["decimalLatitude"] == latitude
        assert event["coordinateUncertaintyInMeters"] == str(uncertainty)
        assert "rounded" in event["dataGeneralizations"]
        assert event["locality"] == ""


class TestOccurrences:
    def test_what_was_found_and_what_was_not_are_told_apart(self, place: str) -> None:
        found = occurrences(place)
        assert found["Asellidae"]["occurrenceStatus"] == "absent"
        assert found["Asellidae"]["individualCount"] == "0"
        assert {row["occurrenceStatus"] for name, row in found.items() if name != "Asellidae"} == {"present"}

    def test_counts_are_whole_numbers_and_ranges_are_quantities(self, place: str) -> None:
        found = occurrences(place)
        assert found["Baetis rhodani"]["individualCount"] == "1200"
        assert (found["Elmidae"]["individualCount"], found["Elmidae"]["organismQuantity"]) == ("", "10-99")
        assert found["Elmidae"]["organismQuantityType"] == "individuals"
        assert (found["Simuliidae"]["organismQuantity"], found["Simuliidae"]["organismQuantityType"]) == (
            "",
            "",
        )

    def test_names_are_latin_and_the_written_one_stands_beside(self, place: str) -> None:
        found = occurrences(place)
        assert (found["Baetis rhodani"]["scientificName"], found["Baetis rhodani"]["taxonRank"]) == (
            "Baetidae",
            "family",
        )
        assert found["Snails (gilled)"]["scientificName"] == "Gastropoda"
        assert found["Snails (gilled)"]["order"] == ""
        assert {row["kingdom"] for row in found.values()} == {"Animalia"}

    def test_a_share_of_the_tray_is_said_with_each_count_it_concerns(self, place: str) -> None:
        found = occurrences(place)
        assert found["Baetis rhodani"]["occurrenceRemarks"] == "counted in 1/4 of the tray"
        assert found["Perlidae"]["occurrenceRemarks"] == "picked out of the whole tray"

    def test_identifiers_are_unique_everywhere_and_the_same_in_every_archive(
        self, cast: Cast, place: str, visit: Visit, tmp_path: Path
    ) -> None:
        first = [row["occurrenceID"] for row in rows_of(place, qualname("Occurrence"))]
        assert all(URN.fullmatch(each) for each in first)
        assert len(set(first)) == len(first)
        # A correction writes the rows of a count anew.
        for row in list(visit.counts.all()):
            row.delete()
            row.pk = None
            row.save(force_insert=True)
        again = rows_of(archive_file(cast, tmp_path), qualname("Occurrence"))
        assert sorted(row["occurrenceID"] for row in again) == sorted(first)


class TestFacts:
    def test_a_limit_of_a_kit_stays_a_limit(self, place: str) -> None:
        facts = {row["measurementType"]: row for row in rows_of(place, FACT)}
        assert facts["phosphate as PO4"]["measurementValue"] == "<0.05"
        assert "below the limit" in facts["phosphate as PO4"]["measurementRemarks"]

    def test_a_score_says_its_version_and_what_else_would_fit(self, place: str, visit: Visit) -> None:
        facts = {row["measurementType"].partition(",")[0]: row for row in rows_of(place, FACT)}
        score = visit.scores.get(index="bmwp", is_current=True)
        assert float(facts["BMWP"]["measurementValue"]) == score.value
        assert score.version in facts["BMWP"]["measurementMethod"]


class TestWhoAndWhat:
    def test_only_approved_visits_that_were_made_are_in_it(
        self, cast: Cast, visit: Visit, tmp_path: Path
    ) -> None:
        submit(cast.person("volunteer"), cast.site)
        assert len(rows_of(archive_file(cast, tmp_path))) == 1

    @pytest.mark.parametrize(("agreed", "named"), [(False, ""), (True, "Vera Example")])
    def test_names_are_of_people_who_agreed(
        self, cast: Cast, visit: Visit, tmp_path: Path, agreed: bool, named: str
    ) -> None:
        Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(show_name=agreed)
        place = archive_file(cast, tmp_path)
        assert {row["recordedBy"] for row in rows_of(place, qualname("Occurrence"))} == {named}

    def test_nothing_private_is_anywhere_in_the_archive(self, cast: Cast, visit: Visit, tmp_path: Path) -> None:
        type(cast.site).objects.of_group(cast.group).update(hazards="deep mud", access_notes="over the stile")
        with zipfile.ZipFile(archive_file(cast, tmp_path)) as packed:
            text = " ".join(packed.read(name).decode() for name in packed.namelist())
        for private in ("Fen Farmer", "deep mud", "over the stile", "Sam Example", "vera@example.org", "Cora"):
            assert private not in text


class TestMetadata:
    def eml(self, place: str) -> str:
        with zipfile.ZipFile(place) as packed:
            return packed.read("eml.xml").decode()

    def test_it_keeps_the_rules_of_the_metadata_language(self, place: str) -> None:
        errors: list[Any] = []
        validate.tree(metapype_io.from_xml(self.eml(place)), errors)
        assert errors == []

    def test_those_rules_would_find_a_fault(self, place: str) -> None:
        errors: list[Any] = []
        broken = re.sub(r"<contact>.*</contact>", "", self.eml(place), flags=re.DOTALL)
        validate.tree(metapype_io.from_xml(broken), errors)
        assert errors

    def test_it_tells_licence_extent_and_whom_to_ask(self, place: str, visit: Visit) -> None:
        root = xml.fromstring(self.eml(place))
        assert root.findtext(".//licensed/identifier") == "CC-BY-4.0"
        assert root.findtext(".//contact/electronicMailAddress") == "records@example.org"
        assert root.findtext(".//boundingCoordinates/westBoundingCoordinate") == "-2.5"
        assert root.findtext(".//rangeOfDates/beginDate/calendarDate") == visit.visited_on.isoformat()

    def test_an_archive_that_nothing_fits_is_still_one(self, cast: Cast, tmp_path: Path) -> None:
        with_terms(cast)
        place = archive_file(cast, tmp_path)
        assert rows_of(place) == []
        errors: list[Any] = []
        validate.tree(metapype_io.from_xml(self.eml(place)), errors)
        assert errors == []
