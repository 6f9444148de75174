"""Where a visit was made goes out only with those who may see it, and never where exact places are hidden."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from surveys.models import Visit
from tests.conftest import Cast
from tests.exporting.archives import approved, archive_file, with_terms
from tests.exporting.files import csv_lines, exported, features, xlsx_lines
from tests.factories import submit
from tests.published.test_darwin_core import rows_of

pytestmark = pytest.mark.django_db
HERE = {"position": "54.5012 N, 2.5034 W", "position_accuracy_m": "12", "position_source": "phone"}
TEXT = "54.50120 N, 2.50340 W"
FAR = {**HERE, "position": "54.61 N, 2.71 W"}


@pytest.fixture
def visit(cast: Cast) -> Visit:
    return submit(cast.person("volunteer"), cast.site, **HERE)


def test_all_three_kinds_of_file_carry_it(cast: Cast, visit: Visit) -> None:
    (line,) = csv_lines(exported(cast, "visits"))
    assert (line["position"], line["position_accuracy_m"], line["position_source"]) == (TEXT, "12", "phone")
    (row,) = xlsx_lines(exported(cast, "visits", "xlsx"))
    assert (row["position"], row["position_accuracy_m"]) == (TEXT, 12)
    (feature,) = features(exported(cast, "visits", "geojson"))
    assert feature["properties"]["position"] == TEXT
    # On the map the visit stands at its site, as all others do.
    assert feature["geometry"]["coordinates"] == [-2.5, 54.5]


@pytest.mark.parametrize(("who", "text"), [("volunteer", TEXT), ("coordinator", TEXT), ("other_volunteer", "")])
@pytest.mark.parametrize("content", ["visits", "counts"])
def test_it_goes_along_only_with_those_who_may_see_it(
    cast: Cast, visit: Visit, content: str, who: str, text: str
) -> None:
    lines = csv_lines(exported(cast, content, who=who))
    assert {line["position"] for line in lines} == {text}
    assert any("54.5012" in str(line) for line in lines) is bool(text)


def event(cast: Cast, folder: Path, visit: dict[str, Any], **terms: Any) -> dict[str, str]:
    with_terms(cast, **terms)
    approved(cast, **visit)
    (row,) = rows_of(archive_file(cast, folder))
    return row


def test_an_archive_tells_it_with_its_accuracy(cast: Cast, tmp_path: Path) -> None:
    row = event(cast, tmp_path, HERE)
    assert (row["decimalLatitude"], row["decimalLongitude"]) == ("54.50120", "-2.50340")
    assert row["coordinateUncertaintyInMeters"] == "12"
    assert "Coordinates of this visit, by a phone." in row["eventRemarks"]


def test_an_archive_leaves_open_how_exact_a_picture_is(cast: Cast, tmp_path: Path) -> None:
    row = event(cast, tmp_path, {"position": HERE["position"], "position_source": "photo"})
    assert (row["decimalLatitude"], row["coordinateUncertaintyInMeters"]) == ("54.50120", "")


def test_an_archive_that_hides_exact_places_hides_it(cast: Cast, tmp_path: Path) -> None:
    row = event(cast, tmp_path, HERE, blur="0.1")
    assert (row["decimalLatitude"], row["decimalLongitude"]) == ("54.5", "-2.5")
    assert "Coordinates of this visit" not in row["eventRemarks"]
    assert "54.501" not in str(row)


def test_an_archive_tells_the_site_where_the_position_is_elsewhere(cast: Cast, tmp_path: Path) -> None:
    """It may be that of the table at home where the visit was typed."""
    row = event(cast, tmp_path, FAR)
    assert (row["decimalLatitude"], row["decimalLongitude"]) == ("54.50000", "-2.50000")
    assert "54.61" not in str(row)
