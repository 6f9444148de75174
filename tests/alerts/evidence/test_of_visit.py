"""What an alert says of a visit beside what its site normally holds."""

from __future__ import annotations

import math
from io import BytesIO
from typing import Any

import pytest
from PIL import Image

from alerts.evidence.found import amount_words, found_rows
from alerts.evidence.of_visit import Evidence, evidence_of
from alerts.evidence.picture import draw_history_picture, history_arguments
from alerts.judging.figures import figure
from alerts.queries import who_to_call
from alerts.services.wording import HEADLINES, WITH_EVIDENCE
from portal.accounts.models import User
from scoring.indices.methods import METHODS
from scoring.subsampling import whole_tray_limits
from surveys.measuring.quantities import QUANTITIES
from surveys.models import Site, TaxonCount
from surveys.places.sites import place_of
from surveys.services.visits import approve_visit
from tests.alerts.conftest import LOW, Watch, approved_visit, mails, set_level, verdict_of
from tests.factories import SiteFactory, days_ago

pytestmark = pytest.mark.django_db


def evidence(watch: Watch, **changes: Any) -> Evidence:
    visit = watch.submit_low(**changes)
    return evidence_of(visit, verdict_of(visit))


def test_it_says_score_trigger_and_how_far_below(watch: Watch) -> None:
    found = evidence(watch)
    assert (found.score, found.trigger, found.shortfall) == ("6", "30", "24")
    assert found.is_below
    assert not found.is_checked


def test_it_gives_no_evidence_for_what_was_not_tested(watch: Watch) -> None:
    visit = watch.submit_low()
    verdict = verdict_of(visit)
    verdict.trigger = None
    with pytest.raises(ValueError, match="not held against a trigger"):
        evidence_of(visit, verdict)


def test_it_describes_what_is_normal_here(watch: Watch) -> None:
    approved_visit(watch.site, watch.cast.coordinator, watch.cast.other_volunteer, days_ago(20), bmwp=40)
    baseline = evidence(watch).baseline
    assert baseline is not None
    assert (baseline.n, baseline.median, baseline.lowest) == (9, 48, 40)


def test_it_names_usual_taxa_that_are_missing_first(watch: Watch) -> None:
    found = evidence(watch)
    assert [row.taxon for row in found.missing] == [
        "Heptageniidae",
        "Leuctridae",
        "Sericostomatidae",
        "Rhyacophilidae",
        "Elmidae",
    ]
    assert [row.taxon for row in found.found[5:]] == list(LOW)
    row = found.found[5]
    assert (row.now, row.usual, row.times_found, row.of_visits) == ("3", "40", 8, 8)


@pytest.mark.parametrize(("times", "is_usual"), [(5, False), (6, True)])
def test_it_calls_usual_what_two_of_three_visits_had(watch: Watch, times: int, is_usual: bool) -> None:
    """6 of 8 is three quarters, 5 of 8 is less than two thirds."""
    for visit in watch.site.visits.order_by("visited_on")[:times]:
        TaxonCount.objects.create(visit=visit, taxon="Gammaridae", count=9)
    missing = {row.taxon for row in evidence(watch).missing}
    assert ("Gammaridae" in missing) == is_usual


def test_it_counts_looked_for_and_absent_as_missing(watch: Watch) -> None:
    found = evidence(watch, counts=LOW | {"Elmidae": 0})
    assert "Elmidae" in {row.taxon for row in found.missing}


def test_it_never_turns_a_range_into_a_number(watch: Watch) -> None:
    for visit in watch.site.visits.all():
        TaxonCount.objects.create(visit=visit, taxon="Simuliidae", low=10, high=99)
    counts = [{"taxon": "Baetidae", "range": "10-99"}, {"taxon": "Chironomidae", "range": "1000+"}]
    rows = {row.taxon: row for row in evidence(watch, counts=counts).found}
    assert (rows["Baetidae"].now, rows["Chironomidae"].now) == ("10–99", "1,000+")
    assert rows["Simuliidae"].usual == "10–99"


def test_it_adds_up_the_lines_of_one_family(watch: Watch) -> None:
    counts = [
        {"taxon": "Baetidae", "recorded_as": "Baetis", "count": "3"},
        {"taxon": "Baetidae", "recorded_as": "Cloeon", "count": "4"},
    ]
    rows = {row.taxon: row for row in evidence(watch, counts=counts).found}
    assert rows["Baetidae"].now == "7"


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [(3, 3, "3"), (12.5, 12.5, "12.5"), (1, 9, "1–9"), (1000, math.inf, "1,000+"), (1200, 1200, "1,200")],
)
def test_it_writes_amounts(low: float, high: float, words: str) -> None:
    assert amount_words(low, high) == words


def test_it_scales_up_what_was_found_in_a_share_of_the_tray(watch: Watch) -> None:
    counts = [
        {"taxon": "Baetidae", "count": "12"},
        {"taxon": "Elmidae", "present": True},
        {"taxon": "Perlidae", "count": "2", "whole_tray": True},
    ]
    visit = watch.submit_clean(visited_on=days_ago(1).isoformat(), fraction_sorted="1/4", counts=counts)
    now = {row.taxon: row.now for row in found_rows(visit, [])}
    low, high = whole_tray_limits(12, 0.25)
    assert now == {"Baetidae": f"{low}–{high}", "Elmidae": "1+", "Perlidae": "2"}


def test_it_gives_the_window_in_which_it_happened(watch: Watch) -> None:
    found = evidence(watch)
    assert found.last_normal is not None
    assert found.window == (days_ago(30), days_ago(1))


def test_it_takes_an_unchecked_good_visit_for_the_window_too(watch: Watch) -> None:
    watch.submit_clean(visited_on=days_ago(4).isoformat())
    assert evidence(watch).window == (days_ago(4), days_ago(1))


def test_it_takes_no_visit_of_odd_effort_for_the_window(watch: Watch) -> None:
    odd = approved_visit(watch.site, watch.cast.coordinator, watch.cast.other_volunteer, days_ago(5))
    odd.spots.all().delete()
    assert evidence(watch).window[0] == days_ago(30)


def test_it_says_when_there_is_no_earlier_normal_visit(watch: Watch) -> None:
    watch.site.visits.all().delete()
    set_level(watch.site, watch.cast.coordinator, 30, valid_from=days_ago(9), despite_provisional=True)
    found = evidence(watch)
    assert found.last_normal is None
    assert found.window == (days_ago(1), days_ago(1))
    text = mails(kind="contact.told")[0].text
    assert "no earlier normal visit" in text
    assert "Nobody knows yet what is usual here" in text


def test_it_shows_the_sites_up_and_down_the_river(watch: Watch) -> None:
    up = SiteFactory(group=watch.cast.group, code="AB0", name="Weir head", downstream=watch.site)
    down = SiteFactory(group=watch.cast.group, code="AB2", name="Old mill")
    Site.objects.of_group(watch.cast.group).filter(pk=watch.site.pk).update(downstream=down)
    watch.site.refresh_from_db()
    for day, bmwp in ((40, 30), (12, 44)):
        approved_visit(up, watch.cast.coordinator, watch.cast.other_volunteer, days_ago(day), bmwp=bmwp)
    found = {each.site.name: each for each in evidence(watch).river.sites}
    assert (found["Weir head"].direction, found["Weir head"].score) == ("upstream", "44")
    assert found["Weir head"].when == days_ago(12)
    assert (found["Old mill"].direction, found["Old mill"].when) == ("downstream", None)


def test_it_takes_no_score_of_a_neighbour_from_long_after_the_visit(watch: Watch) -> None:
    up = SiteFactory(group=watch.cast.group, code="AB0", name="Weir head", downstream=watch.site)
    approved_visit(up, watch.cast.coordinator, watch.cast.other_volunteer, days_ago(1), bmwp=9)
    assert evidence(watch, visited_on=days_ago(16).isoformat()).river.sites[0].when is None


@pytest.mark.parametrize(("precision", "grid"), [(10, "NY 7932 0166"), (100, "NY 793 016"), (1000, "NY 79 01")])
def test_it_gives_the_place_as_finely_as_it_is_known(precision: int, grid: str) -> None:
    site = Site(latitude=54.41, longitude=-2.32, location_precision_m=precision)
    place = place_of(site)
    assert (place.degrees, place.grid) == ("54.41000, -2.32000", grid)
    assert "54.41000" in place.map_url
    assert "-2.32000" in place.map_url


def test_it_gives_no_grid_reference_where_there_is_no_grid() -> None:
    assert place_of(Site(latitude=48.1, longitude=11.5)).grid is None


def test_it_repeats_conditions_readings_and_effort_in_words(watch: Watch) -> None:
    found = evidence(watch, measurements={"ph": {"value": "7.9"}, "phosphate": {"value": "<0.05"}})
    assert ("Water level", "normal") in found.conditions
    readings = dict(found.measurements)
    assert readings["pH"] == "7.9"
    assert readings[str(QUANTITIES["phosphate"].label)].startswith("<0.05 mg/L")
    assert found.effort == "90 s of kicking in 3 spots (standard: 90 s in 3)"


def test_it_carries_the_findings_along(watch: Watch) -> None:
    found = evidence(watch, measurements={"ph": {"value": "9.6"}})
    assert found.findings
    assert "Looked at" not in " ".join(found.findings)


def test_it_says_what_the_group_decided_on_a_finding(watch: Watch) -> None:
    visit = watch.submit_low()
    approve_visit(person=watch.cast.person("coordinator"), visit=visit, accept_findings_reason="As recorded.")
    decided = evidence_of(visit, verdict_of(visit)).findings
    assert decided
    assert all(each.endswith("Looked at by the group: right as recorded.") for each in decided)


def test_it_names_one_coordinator_with_a_number(watch: Watch) -> None:
    assert who_to_call(watch.cast.group) == watch.cast.coordinator
    User.objects.filter(pk=watch.cast.coordinator.pk).update(phone="")
    assert who_to_call(watch.cast.group) == watch.cast.second_coordinator


@pytest.mark.parametrize(
    ("index", "value", "words"), [("bmwp", 44.0, "44"), ("bmwp", 16.5, "16.50"), ("aspt", 4.888889, "4.89")]
)
def test_it_prints_scores_in_their_own_precision(index: str, value: float, words: str) -> None:
    assert figure(value, METHODS[index]) == words


def test_it_says_what_ranges_leave_open(watch: Watch) -> None:
    watch.trigger.delete()
    set_level(watch.site, watch.cast.coordinator, 3, index="shannon", despite_provisional=True)
    counts = [{"taxon": "Baetidae", "range": "1-9"}, {"taxon": "Chironomidae", "range": "10-99"}]
    assert " to " in evidence(watch, counts=counts).possible


def test_it_draws_the_picture_from_what_the_message_keeps(watch: Watch) -> None:
    arguments = history_arguments(evidence(watch))
    assert arguments == {
        "site_id": str(watch.site.pk),
        "index": "bmwp",
        "first": days_ago(30).isoformat(),
        "last": days_ago(1).isoformat(),
    }
    picture = Image.open(BytesIO(draw_history_picture(**arguments)))
    assert picture.format == "PNG"
    assert picture.width == 800


def test_it_accuses_nobody(watch: Watch) -> None:
    evidence(watch, pollution_signs="Smell of sewage.")
    for mail in mails():
        for part in (mail.text, mail.html):
            assert "consistent with" in part
            assert "caused by" not in part


def test_it_says_what_the_portal_is_not(watch: Watch) -> None:
    evidence(watch)
    for mail in mails():
        assert "no emergency service" in mail.text.lower()
        assert "no emergency service" in mail.html.lower()


def test_it_escapes_what_volunteers_typed(watch: Watch) -> None:
    evidence(watch, pollution_signs="<script>alert(1)</script> & foam")
    mail = mails(kind="contact.told")[0]
    assert "<script>" not in mail.html
    assert "&lt;script&gt;" in mail.html
    assert "<script>alert(1)</script> & foam" in mail.text


def test_it_has_a_first_line_for_every_step_that_is_mailed() -> None:
    assert set(HEADLINES) >= WITH_EVIDENCE


def test_it_tells_an_agency_nothing_of_a_phone(watch: Watch) -> None:
    """The site's place is enough: where a volunteer's phone was is nobody's but the group's."""
    where = {"position": "54.61 N, 2.71 W", "position_accuracy_m": "12", "position_source": "phone"}
    found = evidence(watch, **where)
    assert verdict_of(found.visit).visit.findings.filter(rule="position_far").exists()
    assert not any("position" in words.casefold() for words in found.findings)
    assert "54.61" not in str(found)
    for mail in mails():
        assert "54.61" not in f"{mail.text}{mail.html}"
        assert "The position lies" not in f"{mail.text}{mail.html}"
