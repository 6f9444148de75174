"""Where a visit was made: one way in, one set of limits, and seen only by those whom it concerns."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from PIL import Image

from alerts.chain.facts import counted
from alerts.evidence.pack import nameless
from portal.accounts.access import allowed
from surveys.histories import trail_of
from surveys.models import Finding, Visit
from surveys.services.drafts import start_visit
from surveys.services.photo_positions import position_in, suggest_position
from surveys.services.visits import correct_visit
from surveys.submission import InvalidSubmission, parse_submission, submission_data, submission_of
from surveys.submission.placing import position_text
from surveys.submission.types import Position
from surveys.visits import positions
from surveys.visits.positions import Landmark, distance_words, metres_between, standing
from surveys.visits.sheets import VisitSheet
from tests.conftest import Cast
from tests.factories import SiteFactory, VisitFactory, data_for, submit
from tests.surveys.pages import address, signed_in, text_of
from tests.surveys.rules.checking import USUAL
from tests.surveys.rules.table import CHECKED
from tests.surveys.rules.test_table import red

# At the site of the cast, and 1.1 km north of it.
HERE = {"position": "54.5001 N, 2.5 W", "position_accuracy_m": "12", "position_source": "phone"}
AWAY = {**HERE, "position": "54.51 N, 2.5 W"}
WORDS = "54.51000 N, 2.50000 W"


def read(**parts: Any) -> Position | None:
    return parse_submission(data_for(USUAL.site, **parts)).position


def problems(**parts: Any) -> dict[str, tuple[str, str]]:
    with pytest.raises(InvalidSubmission) as refused:
        read(**parts)
    return {each.field: (each.rule, each.message) for each in refused.value.problems}


class TestReading:
    def test_it_reads_all_three_parts(self) -> None:
        assert read(**HERE) == Position(54.5001, -2.5, 12, "phone")

    def test_it_is_no_statement_when_left_empty(self) -> None:
        assert read(position="", position_accuracy_m="", position_source="") is None

    @pytest.mark.parametrize(
        ("typed", "exact"), [("54.5001, -2.5001", 12), ("SD 6765 7810", 10), ("SD 67 78", 1000)]
    )
    def test_what_is_typed_is_as_exact_as_it_is_written(self, typed: str, exact: int) -> None:
        found = read(position=typed)
        assert found is not None
        assert (found.accuracy_m, found.source) == (exact, "typed")

    def test_a_picture_may_not_say_how_exact_it_is(self) -> None:
        assert read(position=HERE["position"], position_source="photo") == Position(
            54.5001, -2.5, None, "photo"
        )

    def test_it_says_at_the_field_what_cannot_be_read(self) -> None:
        assert problems(position="by the bridge")["position"][0] == "unreadable"
        assert "-90 to 90" in problems(position="95 N, 2 W")["position"][1]
        assert "less than 1" in problems(**{**HERE, "position_accuracy_m": "0"})["position_accuracy_m"][1]
        assert "more than 5000" in problems(**{**HERE, "position_accuracy_m": "5001"})["position_accuracy_m"][1]
        assert problems(**{**HERE, "position_source": "guess"})["position_source"][0] == "unreadable"

    def test_it_refuses_what_is_too_rough_to_tell_sites_apart(self) -> None:
        assert "exact to 111 km" in problems(position="54, -2")["position"][1]

    @pytest.mark.parametrize("part", ["position_accuracy_m", "position_source"])
    def test_its_parts_say_nothing_without_the_place(self, part: str) -> None:
        assert problems(**{part: HERE[part]})["position"][0] == "missing"

    def test_a_place_that_cannot_be_read_hides_no_other_mistake(self) -> None:
        with pytest.raises(InvalidSubmission) as refused:
            read(**{**HERE, "position": "by the bridge"})
        assert refused.value.readable is not None
        assert refused.value.readable.position is None

    @pytest.mark.parametrize("place", [(54.5, -2.5), (-4.62, 55.45), (0.00001, -0.00001), (-90.0, 180.0)])
    def test_what_it_writes_is_read_back_whichever_half_of_the_earth(self, place: tuple[float, float]) -> None:
        assert read(position=position_text(*place)) == Position(*place, 2, "typed")


class TestStanding:
    def test_it_names_the_other_site_that_is_near(self) -> None:
        site, other = Landmark("AB1", 54.5, -2.5, 10), Landmark("AB2", 54.51, -2.5, 10)
        found = standing(Position(54.51, -2.5, 12, "phone"), site, (Landmark("AB3", 54.6, -2.5, 10), other))
        assert (found.is_far, found.other) == (True, "AB2")
        assert found.metres == pytest.approx(1113.1, abs=0.1)

    def test_it_names_none_that_is_far_off_as_well(self) -> None:
        site, other = Landmark("AB1", 54.5, -2.5, 10), Landmark("AB2", 54.53, -2.5, 10)
        found = standing(Position(54.52, -2.5, 12, "phone"), site, (other,))
        assert (found.is_far, found.other) == (True, "")

    @pytest.mark.parametrize("step", [2, -2])
    @pytest.mark.parametrize("limit", ["FARTHEST_M", "UNKNOWN_ACCURACY_M", "NEARER_BY_M"])
    def test_the_table_of_rules_notices_a_limit_that_moves(
        self, limit: str, step: int, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(positions, limit, getattr(positions, limit) + step)
        assert {row.rule for row in red(CHECKED)} == {"position_far"}

    @pytest.mark.parametrize(
        ("metres", "words"), [(3, "10 m"), (344, "340 m"), (996, "1.0 km"), (1449, "1.4 km"), (25_400, "25 km")]
    )
    def test_it_says_distances_as_people_do(self, metres: float, words: str) -> None:
        assert distance_words(metres) == words


@pytest.mark.parametrize(
    ("fields", "constraint"),
    [
        ({"position_latitude": 54.5}, "whole_or_none"),
        ({"position_accuracy_m": 5}, "whole_or_none"),
        ({"position_latitude": 54.5, "position_longitude": -2.5}, "whole_or_none"),
        ({"position_source": "phone"}, "whole_or_none"),
        ({"position_latitude": 91, "position_longitude": 0, "position_source": "phone"}, "on_the_globe"),
        ({"position_latitude": 9, "position_longitude": 181, "position_source": "phone"}, "on_the_globe"),
        (
            {
                "position_latitude": 9,
                "position_longitude": 1,
                "position_source": "typed",
                "position_accuracy_m": 5001,
            },
            "accuracy_in_range",
        ),
    ],
)
def test_the_database_holds_a_position_whole(cast: Cast, fields: dict[str, Any], constraint: str) -> None:
    with pytest.raises(IntegrityError, match=f"visit_position_{constraint}"), transaction.atomic():
        VisitFactory(site=cast.site, **fields)


class TestVisit:
    @pytest.fixture
    def visit(self, cast: Cast) -> Visit:
        SiteFactory(group=cast.group, code="AB2", name="Far ford", latitude=54.51, longitude=-2.5)
        return submit(cast.person("volunteer"), cast.site, **AWAY)

    def test_it_is_saved_asked_about_and_read_back(self, cast: Cast, visit: Visit) -> None:
        saved = Visit.objects.of_group(cast.group).get(pk=visit.pk)
        assert (saved.position_latitude, saved.position_accuracy_m, saved.position_source) == (
            54.51,
            12,
            "phone",
        )
        finding = Finding.objects.of_group(cast.group).get(visit=visit)
        assert (finding.rule, finding.field) == ("position_far", "position")
        assert finding.message == "The position lies 1.1 km from AB1. Is this a visit of AB2?"
        assert parse_submission(submission_data(saved)).position == submission_of(saved).position

    def test_a_correction_shows_old_and_new_and_settles_the_finding(self, cast: Cast, visit: Visit) -> None:
        data = {**submission_data(visit), "position": "54.5001 N, 2.5 W"}
        correct_visit(
            person=cast.person("coordinator"), visit=visit, submission=parse_submission(data), reason="A slip"
        )
        (change,) = trail_of(visit, cast.group)[0].changes
        assert (change.label, change.old, change.new) == (
            "Where the sample was taken",
            WORDS,
            "54.50010 N, 2.50000 W",
        )
        assert not Finding.objects.of_group(cast.group).filter(visit=visit, decision="").exists()
        assert not trail_of(visit, cast.group, hidden=("position",))[0].changes

    @pytest.mark.parametrize(
        ("who", "may"),
        [
            ("volunteer", True),
            ("coordinator", True),
            ("other_volunteer", False),
            ("neighbour_coordinator", False),
            ("stranger", False),
        ],
    )
    def test_it_is_for_those_of_the_visit_and_for_coordinators(
        self, cast: Cast, visit: Visit, who: str, may: bool
    ) -> None:
        assert allowed(cast.person(who), "visit.see_position", visit) is may

    @pytest.mark.parametrize(
        ("who", "sees"), [("volunteer", True), ("coordinator", True), ("other_volunteer", False)]
    )
    def test_page_and_interface_show_it_to_no_one_else(
        self, cast: Cast, visit: Visit, who: str, sees: bool
    ) -> None:
        client = signed_in(getattr(cast, who))
        page = text_of(client.get(address("visit_detail", cast.group, visit_id=visit.pk)))
        assert (WORDS in page, "Is this a visit of AB2?" in page) == (sees, sees)
        told = client.get(f"/api/v1/groups/{cast.group.slug}/visits/{visit.pk}/").json()
        assert told["submission"]["position"] == (WORDS if sees else "")
        assert [each["rule"] for each in told["findings"]] == (["position_far"] if sees else [])

    def test_the_coordinator_reads_the_question_beside_the_field(self, cast: Cast, visit: Visit) -> None:
        page = text_of(signed_in(cast.coordinator).get(address("visit_review", cast.group, visit_id=visit.pk)))
        line = f"{WORDS} (exact to 12 m, told by the phone), 1.1 km from the site"
        assert f"{line} The position lies 1.1 km from AB1." in " ".join(page.split())

    def test_a_sheet_tells_it_only_when_asked_to(self, visit: Visit) -> None:
        said = [line.value for line in VisitSheet(visit).people]
        assert not any("54.51" in words for words in said)
        assert not VisitSheet(visit).general_findings

    def test_a_visit_without_one_is_sealed_as_ever(self, cast: Cast, visit: Visit) -> None:
        plain = submit(cast.person("volunteer"), cast.site, visited_on="2026-01-04")
        assert not [path for path in counted(plain) if path.startswith("position")]
        assert counted(visit)["position"] == WORDS


def exif(**changes: Any) -> io.BytesIO:
    """A picture as a camera with a place makes it: 54° 30' 0.36" N, 2° 30' W, exact to 8 m."""
    usual = {1: "N", 2: (54.0, 30.0, 0.36), 3: "W", 4: (2.0, 30.0, 0.0), 31: 7.6}
    notes = Image.Exif()
    place = notes.get_ifd(0x8825)
    for tag, value in ({**usual, **{int(name[1:]): value for name, value in changes.items()}}).items():
        if value is not None:
            place[tag] = value
    file = io.BytesIO()
    Image.new("RGB", (60, 40), "green").save(file, "JPEG", exif=notes.tobytes())
    return io.BytesIO(file.getvalue())


class TestPicture:
    def test_it_reads_place_and_accuracy(self) -> None:
        assert position_in(exif()) == Position(54.5001, -2.5, 8, "photo")
        assert position_in(exif(t1="S", t3="E", t31=None)) == Position(-54.5001, 2.5, None, "photo")
        assert position_in(exif(t18="WGS-84")) == position_in(exif())

    @pytest.mark.parametrize(
        "changes",
        [
            {"t2": None},
            {"t1": None},
            {"t1": "?"},
            {"t2": (0.0, 0.0, 0.0), "t4": (0.0, 0.0, 0.0)},
            {"t2": (95.0, 0.0, 0.0)},
            {"t2": (54.0, 30.0)},
            {"t18": "TOKYO"},
            {"t31": 9000.0},
        ],
    )
    def test_it_leaves_what_says_nothing_of_a_place(self, changes: dict[str, Any]) -> None:
        assert position_in(exif(**changes)) is None

    def test_it_takes_a_picture_without_notes_and_a_broken_one_for_what_they_are(self) -> None:
        plain = io.BytesIO()
        Image.new("RGB", (4, 4)).save(plain, "PNG")
        assert position_in(plain) is None
        assert position_in(io.BytesIO(b"no picture")) is None
        assert position_in(io.BytesIO(exif().getvalue()[:120])) is None

    def test_it_asks_and_names_the_site_that_is_near(self, cast: Cast) -> None:
        there = Landmark("AB2", 54.51, -2.5, 10)
        near = suggest_position(exif(), cast.site, (there,))
        far = suggest_position(exif(t2=(54.0, 30.0, 36.0)), cast.site, (there,))
        assert near is not None
        assert far is not None
        assert near.words == (
            "The picture says it was taken 10 m from AB1 (exact to 8 m). Use this position for the visit?"
        )
        assert far.words.endswith("Is this a visit of AB2?")
        assert near.value == "54.50010 N, 2.50000 W|8"


class TestPicturePages:
    @pytest.fixture(autouse=True)
    def _media(self, settings: Any, tmp_path: Any) -> None:
        settings.MEDIA_ROOT = tmp_path

    def test_it_is_offered_once_and_kept_only_when_confirmed(self, cast: Cast) -> None:
        draft = start_visit(person=cast.person("volunteer"), site=cast.site)
        client, form = signed_in(cast.volunteer), address("visit_submit", cast.group, draft_id=draft.pk)
        typed = {"visited_on": "2026-06-01", "notes": "Kept"}
        picture = exif()
        picture.name = "bank.jpg"
        add = address("photo_add", cast.group, draft_id=draft.pk)
        offered = text_of(client.post(add, {**typed, "photo": picture}))
        assert "The picture says it was taken 10 m from AB1" in offered
        draft.refresh_from_db()
        assert draft.data["position"] == ""
        assert "says it was taken" not in text_of(client.get(form))
        answer: Any = client.post(form, {**typed, "use_position": "54.50010 N, 2.50000 W|8"})
        assert answer.status_code == 302
        draft.refresh_from_db()
        assert {name: draft.data[name] for name in (*HERE, "notes")} == {
            "position": "54.50010 N, 2.50000 W",
            "position_accuracy_m": "8",
            "position_source": "photo",
            "notes": "Kept",
        }


def test_a_visit_history_for_an_agency_is_read_without_it(cast: Cast) -> None:
    """The pack hides the path; the people it hides by their own rule."""
    visit = submit(cast.person("volunteer"), cast.site, **HERE)
    data = {**submission_data(visit), **AWAY, "notes": "Ford"}
    correct_visit(
        person=cast.person("coordinator"), visit=visit, submission=parse_submission(data), reason="New"
    )
    shown = [nameless(each) for each in trail_of(visit, cast.group, hidden=("position",))]
    assert [change.label for event in shown for change in event.changes] == ["Notes"]


def test_the_script_and_the_portal_agree_on_half_a_per_cent() -> None:
    """What the script reckons on a sphere is tested in the browser; here, how far a sphere may be off."""
    assert metres_between(54.5, -2.5, 54.51, -2.5) == pytest.approx(1111.95, rel=0.005)
