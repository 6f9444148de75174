"""The demo's data: made by the real services, dated as if people had worked for months."""

from __future__ import annotations

import io
import re
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from allauth.mfa.models import Authenticator
from django.utils import timezone
from pypdf import PdfReader

from alerts.models import AgencyContact, Incident, IncidentState, SiteContact, Trigger
from portal.accounts.addresses import accounts_at
from portal.accounts.models import Group, Membership, User
from portal.audit.models import AuditEntry
from portal.demo import seeding
from portal.demo.logins import login_lines
from portal.demo.replay import Replay
from portal.demo.seeding import seed_demo
from portal.demo.settling import found_group
from portal.demo.world import HEADWATERS, INVENTED, PASSWORD
from portal.outbox.models import Message
from portal.reports.models import YearlyReport
from surveys.models import Draft, Site, Visit
from surveys.queries import sites_due
from tests.demo.played.conftest import NOW, SMALL
from tests.second_factor import code_of

pytestmark = pytest.mark.django_db


def visits_of(group: Group) -> list[Visit]:
    return list(
        Visit.objects.of_group(group).select_related("site").prefetch_related("corrected_by", "findings")
    )


def test_a_second_run_does_nothing_and_is_quick(small_demo: Group) -> None:
    before = Visit.objects.of_group(small_demo).count()
    begun = time.monotonic()
    assert not seed_demo(extent=SMALL, now=NOW)
    assert time.monotonic() - begun < 1
    assert Visit.objects.of_group(small_demo).count() == before


def test_every_site_says_that_it_is_invented_and_knows_its_river(small_demo: Group) -> None:
    sites = Site.objects.of_group(small_demo)
    assert len(sites) == len(HEADWATERS.sites)
    assert all(site.access_notes.startswith(INVENTED) for site in sites)
    assert all(site.location_as_typed for site in sites)
    assert sites.get(code="QH1").downstream == sites.get(code="QH2")
    assert all(SiteContact.objects.of_group(small_demo).filter(site=site).count() == 2 for site in sites)


def test_every_month_of_every_site_was_visited_or_is_a_known_gap(small_demo: Group) -> None:
    visits = visits_of(small_demo)
    assert 14 <= len(visits) <= len(HEADWATERS.sites) * (SMALL.months + 1)
    assert {visit.site.code for visit in visits} == {site.code for site in HEADWATERS.sites}


def test_visits_are_dated_like_the_work_of_people(small_demo: Group) -> None:
    for visit in visits_of(small_demo):
        assert visit.visited_on <= NOW.date()
        assert visit.submitted_at <= NOW
        assert timezone.localdate(visit.submitted_at) - visit.visited_on <= timedelta(days=1)
        assert visit.reviewed_at is None or visit.submitted_at < visit.reviewed_at <= NOW + timedelta(minutes=5)


def test_nobody_approved_what_they_took_part_in(small_demo: Group) -> None:
    approved = [visit for visit in visits_of(small_demo) if visit.status == "approved"]
    assert approved
    assert all(visit.reviewed_by_id not in visit.involved_user_ids for visit in approved)


def test_every_visit_left_its_audit_row_at_its_time(small_demo: Group) -> None:
    rows = AuditEntry.objects.of_group(small_demo).filter(verb="visit.submitted")
    moments = {row.object_id: row.at for row in rows}
    for visit in visits_of(small_demo):
        assert abs(moments[visit.pk] - visit.submitted_at) < timedelta(minutes=5)


def test_something_waits_for_each_kind_of_work(small_demo: Group) -> None:
    visits = visits_of(small_demo)
    waiting = [visit for visit in visits if visit.status == "waiting"]
    assert len(waiting) >= 2
    assert any(each.rule == "unusual_reading" for visit in waiting for each in visit.findings.all())
    assert [visit for visit in visits if visit.status == "returned"]
    assert Draft.objects.of_group(small_demo).count() == 1


def test_every_site_with_enough_approved_visits_has_a_trigger_with_its_reason(small_demo: Group) -> None:
    triggers = Trigger.objects.of_group(small_demo)
    assert triggers
    assert all(each.reason and 4 < each.level < 7 and each.index == "aspt" for each in triggers)


def test_one_incident_is_new_and_one_is_acknowledged(small_demo: Group) -> None:
    by_site = {each.site.code: each for each in Incident.objects.of_group(small_demo).select_related("site")}
    assert by_site["QH2"].state == IncidentState.OPEN
    assert by_site["QH4"].state == IncidentState.ACKNOWLEDGED
    waited = by_site["QH4"].acknowledged_at - by_site["QH4"].opened_at  # type: ignore[operator]
    assert timedelta(hours=2) < waited < timedelta(hours=4)
    assert NOW - by_site["QH2"].opened_at < timedelta(hours=3)


def test_only_news_is_left_to_be_sent(small_demo: Group) -> None:
    owed = Message.objects.of_group(small_demo).filter(state="owed")
    assert owed.filter(kind="contact.told").exists()
    assert all(each.created_at >= NOW - timedelta(days=2) for each in owed)
    assert Message.objects.of_group(small_demo).filter(state="sent", kind="invitation").exists()


def test_the_report_on_last_year_is_published_and_can_be_read(small_demo: Group) -> None:
    report = YearlyReport.objects.of_group(small_demo).get()
    assert (report.year, report.state) == (2025, "published")
    assert report.published_at is not None
    assert timezone.localdate(report.published_at).isoformat() == "2026-01-24"
    reader = PdfReader(io.BytesIO(Path(report.file.path).read_bytes()))
    text = " ".join(each.extract_text() for each in reader.pages)
    assert all(site.name in text for site in HEADWATERS.sites)


def test_everybody_listed_can_sign_in_with_the_password_given(small_demo: Group, settings: Any) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
    lines = login_lines()
    assert PASSWORD in lines[0]
    addresses = [line.split("@")[0].split()[-1] + "@" + line.split("@")[1].split()[0] for line in lines[1:6]]
    assert len(addresses) == 5
    assert "SECOND_FACTOR" in lines[6]
    (key,) = re.findall(r"\b[A-Z2-7]{32}\b", lines[7])
    operator = Authenticator.objects.get(user__email=addresses[-1], type="totp")
    assert operator.wrap().validate_code(code_of(key))
    assert all(User.objects.get(email=each).check_password(PASSWORD) for each in addresses)


def test_the_agency_contact_with_an_account_is_no_member(small_demo: Group) -> None:
    addresses = AgencyContact.objects.of_group(small_demo).values_list("email", flat=True)
    (account,) = accounts_at(addresses)
    assert not Membership.objects.of_group(small_demo).filter(user=account).exists()


def test_a_run_that_breaks_off_leaves_nothing_behind(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    def power_cut(*_args: Any, **_words: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(seeding, "is_seeded", lambda: False)
    monkeypatch.setattr(seeding, "found_group", _renamed(found_group))
    monkeypatch.setattr(Replay, "run", power_cut)
    with pytest.raises(KeyboardInterrupt):
        seed_demo(extent=SMALL, now=NOW)
    assert not Group.objects.filter(slug="broken-off").exists()


def _renamed(found: Any) -> Any:
    """Found the group under another name, so that this test can stand beside the played demo."""
    from dataclasses import replace

    return lambda plan, *rest: found(replace(plan, slug="broken-off"), *rest)


def test_each_river_has_its_own_kit_and_one_site_asks_nobody_to_come(small_demo: Group) -> None:
    kits = {visit.site.river: visit.kit_id for visit in visits_of(small_demo) if visit.was_made}
    assert len(set(kits.values())) == len(kits) == 2
    assert not any(
        each.rule == "kit_uncleaned" for visit in visits_of(small_demo) for each in visit.findings.all()
    )
    with time_machine.travel(NOW + timedelta(hours=1)):
        states = {due.site.code: due.state for due in sites_due(small_demo, NOW.date())}
    assert [code for code, state in states.items() if state == "high"] == ["QH5"]
