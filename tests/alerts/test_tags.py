"""What pages of lower floors show of alerts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.db import connection
from django.template import Context, Template
from django.test.utils import CaptureQueriesContext

from alerts.charts.of_site import site_points, trigger_lines
from alerts.models import IncidentState, Verdict
from portal.charts import HistoryRow
from surveys.models import Visit
from tests.alerts.conftest import Watch, set_level, the_incident
from tests.factories import VisitFactory, days_ago

pytestmark = pytest.mark.django_db


def rendered(text: str, **context: Any) -> str:
    return Template("{% load alerting %}" + text).render(Context(context))


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({}, "below the trigger"),
        ({"water_level": "spate"}, "not tested against the trigger"),
        ({"counts": {"Heptageniidae": 9, "Leuctridae": 3, "Perlidae": 1}}, "not below the trigger"),
    ],
)
def test_it_says_the_verdict_in_words(watch: Watch, changes: dict[str, Any], word: str) -> None:
    visit = watch.submit_low(**changes)
    badge = rendered("{% verdict_badge visit %}", visit=visit)
    assert f"</svg>{word}</span>" in badge.replace("\n", "")


def test_it_never_shows_a_visit_without_verdict_as_clean(watch: Watch) -> None:
    visit = VisitFactory(site=watch.site)
    assert "not tested" in rendered("{% verdict_badge visit %}", visit=visit)
    assert "not been held against a trigger" in rendered("{% verdict_reasons visit %}", visit=visit)


def test_it_names_the_score_and_the_level_that_it_fell_below(watch: Watch) -> None:
    visit = watch.submit_low()
    shown = rendered("{% verdict_reasons visit %}", visit=visit)
    assert "BMWP was 6; the level agreed for the site was 30." in shown


def test_it_says_why_a_visit_was_not_tested(watch: Watch) -> None:
    visit = watch.submit_low(water_level="spate")
    assert "washes animals away" in rendered("{% verdict_reasons visit %}", visit=visit)


def test_it_says_what_was_set_aside(watch: Watch) -> None:
    visit = watch.submit_low(water_level="spate", pollution_signs="Dead fish.")
    shown = rendered("{% verdict_reasons visit %}", visit=visit)
    assert "signs of pollution were seen" in shown
    assert "washes animals away" in shown


def test_it_knows_what_could_be_tested_anyway(watch: Watch) -> None:
    template = "{% if visit|may_be_tested_anyway %}yes{% else %}no{% endif %}"
    assert rendered(template, visit=watch.submit_low(water_level="spate")) == "yes"
    assert rendered(template, visit=watch.submit_low()) == "no"


def test_it_reads_all_verdicts_of_a_list_in_one_query(watch: Watch) -> None:
    for day in (2, 3, 4):
        watch.submit_low(visited_on=days_ago(day).isoformat())
    visits = list(Visit.objects.of_group(watch.cast.group))
    template = "{% attach_verdicts visits %}{% for visit in visits %}{% verdict_badge visit %}{% endfor %}"
    with CaptureQueriesContext(connection) as seen:
        shown = rendered(template, visits=visits)
    assert len(seen) == 1
    assert shown.count("badge--danger") == 3


@pytest.mark.parametrize("state", IncidentState)
def test_it_says_the_state_of_an_incident_in_words(watch: Watch, state: IncidentState) -> None:
    watch.submit_low()
    incident = the_incident()
    incident.state = state
    assert str(state.label).replace("'", "&#x27;") in rendered(
        "{% incident_badge incident %}", incident=incident
    )


def test_it_shows_the_sites_trigger_contacts_and_incidents(watch: Watch) -> None:
    watch.submit_low()
    assert "BMWP &lt; 30" in rendered("{% site_trigger site %}", site=watch.site)
    contacts = rendered("{% site_contacts site %}", site=watch.site)
    assert contacts.index("Ines") < contacts.index("Bo ")
    assert the_incident().reference in rendered("{% site_incidents site %}", site=watch.site)
    live = rendered("{% live_incidents group as found %}{{ found|length }}", group=watch.cast.group)
    assert live == "1"


def test_it_says_what_is_missing_at_a_site(watch: Watch) -> None:
    site = watch.cast.neighbour_site
    assert "No trigger is set" in rendered("{% site_trigger site %}", site=site)
    assert "only the coordinators" in rendered("{% site_contacts site %}", site=site)
    assert "None so far" in rendered("{% site_incidents site %}", site=site)


def test_it_draws_the_site_against_its_trigger(watch: Watch) -> None:
    watch.submit_low()
    wide = rendered("{% site_charts site as drawn %}{{ drawn.wide }}", site=watch.site)
    assert wide.startswith("<svg")
    assert "BMWP" in wide
    assert "below the trigger: 1" in wide
    template = '{% site_charts site "aspt" emphasis=day as drawn %}{{ drawn.narrow }}'
    assert "ASPT" in rendered(template, site=watch.site, day=days_ago(1))


def test_it_draws_past_records_as_not_tested(watch: Watch) -> None:
    watch.submit_low()
    points, lines = site_points(watch.site, "bmwp")
    assert [each.state for each in points] == ["untested"] * 8 + ["below"]
    assert [(each.level, each.valid_to) for each in lines] == [(30, None)]


def test_it_never_takes_a_verdict_on_one_index_for_another(watch: Watch) -> None:
    watch.submit_low()
    points, lines = site_points(watch.site, "ntaxa")
    assert {each.state for each in points} == {"unscored", "normal"}
    assert lines == []


def test_it_ends_a_trigger_where_the_next_one_begins(watch: Watch) -> None:
    other = set_level(watch.site, watch.cast.coordinator, 5, index="aspt", valid_from=days_ago(50))
    last = set_level(watch.site, watch.cast.coordinator, 33, valid_from=days_ago(10))
    lines = trigger_lines([watch.trigger, other, last], "bmwp")
    assert [(each.level, each.valid_to) for each in lines] == [(30, days_ago(51)), (33, None)]
    assert [each.level for each in trigger_lines([watch.trigger, other, last], "aspt")] == [5]


def test_it_draws_one_line_for_two_triggers_of_one_day(watch: Watch) -> None:
    again = set_level(watch.site, watch.cast.coordinator, 20, valid_from=watch.trigger.valid_from)
    assert [each.level for each in trigger_lines([watch.trigger, again], "bmwp")] == [20]


def test_it_has_a_badge_for_every_outcome_and_state() -> None:
    from alerts.templatetags.alerting import STATE_BADGES, VERDICT_BADGES

    assert set(VERDICT_BADGES) == set(Verdict.Outcome)
    assert set(STATE_BADGES) == set(IncidentState)
    assert len({icon for _kind, icon in VERDICT_BADGES.values()}) == 3


def test_a_visit_of_other_effort_has_a_shape_of_its_own_in_the_sites_chart(watch: Watch) -> None:
    watch.submit_clean(spots=[{"number": 1, "kicks": 3, "seconds": 30}])
    points, _lines = site_points(watch.site, "bmwp")
    assert [each.state for each in points][-1] == "nonstandard"


def test_the_table_behind_a_chart_gives_the_range_of_an_uncertain_score() -> None:
    row = HistoryRow(days_ago(1), 60.5, 52, 71, None, "", "")
    assert rendered("{{ row|score_with_range }}", row=row) == "60.50 (52–71)"
    assert rendered("{{ row|score_with_range }}", row=replace(row, low=60.5, high=60.5)) == "60.50"
    assert rendered("{{ row|score_with_range }}", row=replace(row, value=None)) == "–"


def test_the_sites_chart_has_its_table_beside_it(watch: Watch) -> None:
    watch.submit_low()
    shown = rendered('{% include "surveys/_history_chart.html" %}', site=watch.site)
    assert shown.count("<tr") == 1 + 9
    assert "not tested against the trigger" in shown.split("<table")[1]
