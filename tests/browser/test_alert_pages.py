"""Incidents, triggers and the page behind a signed link in a real browser."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from django.urls import reverse

from alerts.contacts.links import make_token
from surveys.models import Site
from tests.alerts.conftest import Watch, approved_visit, mails, the_incident, watch
from tests.alerts.test_state_table import bring_to
from tests.browser.checks import PageFor, assert_accessible
from tests.factories import SiteFactory, account_at, days_ago

__all__ = ["watch"]
pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PICTURES = os.environ.get("PICTURES", "")


def keep(page: object, name: str) -> None:
    """Save what the page looks like at two widths, where PICTURES names a folder."""
    for width in (360, 1280) if PICTURES else ():
        page.set_viewport_size({"width": width, "height": 900})  # type: ignore[attr-defined]
        page.screenshot(path=Path(PICTURES) / f"{name}-{width}.png", full_page=True)  # type: ignore[attr-defined]


@pytest.fixture
def incident_url(watch: Watch) -> str:
    up = SiteFactory(group=watch.cast.group, code="AB0", name="Weir head", downstream=watch.site)
    approved_visit(up, watch.cast.coordinator, watch.cast.other_volunteer, days_ago(12), bmwp=44)
    Site.objects.of_group(watch.cast.group).update(latitude=54.41, longitude=-2.32)
    watch.site.refresh_from_db()
    watch.submit_low(pollution_signs="Grey fungus on the stones.")
    return reverse("incident_detail", args=[the_incident().pk])


def test_it_shows_an_incident_to_everybody_alike(page_for: PageFor, watch: Watch, incident_url: str) -> None:
    page = page_for(watch.cast.coordinator)
    page.goto(incident_url)
    assert page.get_by_role("heading", level=1).inner_text().startswith("Incident")
    keep(page, "incident")
    assert_accessible(page)


def test_it_acknowledges_by_a_click_on_the_page_behind_the_link(
    page_for: PageFor, watch: Watch, incident_url: str
) -> None:
    """Only a real browser sends the Origin header on which the forgery check of this form depends."""
    page = page_for()
    page.goto(reverse("alert_page", args=[make_token(the_incident(), watch.first)]))
    keep(page, "alert")
    assert_accessible(page)
    assert the_incident().state == "open"
    page.get_by_role("button", name="Acknowledge").click()
    page.get_by_text("by link sent to Ines Halloran").first.wait_for()
    assert the_incident().state == "acknowledged"
    assert_accessible(page)
    page.get_by_text("Tell the group what came of it").click()
    page.get_by_label("What was found or done").fill("Officer on the way.")
    page.get_by_role("button", name="Send").click()
    page.get_by_text("Course:").click()
    page.get_by_text("Officer on the way.").wait_for()


def test_it_shows_a_dead_link_to_everybody_alike(page_for: PageFor, watch: Watch, incident_url: str) -> None:
    token = make_token(the_incident(), watch.first)
    watch.first.is_active = False
    watch.first.save()
    page = page_for()
    page.goto(reverse("alert_page", args=[token]))
    assert_accessible(page)


@pytest.mark.parametrize(
    "name", ["trigger_set", "site_contacts", "contact_list", "contact_create", "incident_list", "message_list"]
)
@pytest.mark.long
def test_it_shows_every_coordinators_page_to_everybody_alike(
    page_for: PageFor, watch: Watch, incident_url: str, name: str
) -> None:
    at_site = [watch.site.pk] if name in ("trigger_set", "site_contacts") else []
    page = page_for(watch.cast.coordinator)
    page.goto(reverse(name, args=[watch.cast.group.slug, *at_site]))
    keep(page, name)
    assert_accessible(page)


@pytest.mark.long
def test_it_shows_the_form_of_a_contact_to_everybody_alike(page_for: PageFor, watch: Watch) -> None:
    page = page_for(watch.cast.coordinator)
    page.goto(reverse("contact_edit", args=[watch.cast.group.slug, watch.first.pk]))
    page.get_by_label("e-mail address").fill("no address")
    page.locator("form.form button[type=submit]").click()
    page.locator("[aria-invalid=true]").wait_for()
    keep(page, "contact_edit")
    assert_accessible(page)


@pytest.mark.parametrize("state", ["held", "acknowledged", "withdrawn", "closed"])
@pytest.mark.long
def test_it_shows_an_incident_in_every_state_to_everybody_alike(
    page_for: PageFor, watch: Watch, state: str
) -> None:
    bring_to(watch, state)
    page = page_for(watch.cast.coordinator)
    page.goto(reverse("incident_detail", args=[the_incident().pk]))
    assert page.get_by_text("Nobody outside the group has been told").count() == (state == "held")
    assert page.get_by_role("button", name="Acknowledge").count() == 0
    assert page.get_by_role("button", name="Close the incident").count() == (state in ("held", "acknowledged"))
    keep(page, f"incident-{state}")
    assert_accessible(page)


@pytest.mark.long
def test_it_shows_a_contact_the_incidents_of_their_sites(
    page_for: PageFor, watch: Watch, incident_url: str
) -> None:
    page = page_for(account_at(watch.first.email, name="Ines Halloran"))
    page.goto(reverse("contact_incidents"))
    keep(page, "contact_incidents")
    assert_accessible(page)
    page.get_by_role("link", name=the_incident().reference).click()
    page.get_by_role("button", name="Acknowledge").click()
    page.get_by_text("The alert is acknowledged.").wait_for()
    assert the_incident().acknowledged_by == "Ines Halloran"
    assert_accessible(page)


@pytest.mark.long
def test_it_shows_a_contact_without_incidents_what_will_stand_there(page_for: PageFor, watch: Watch) -> None:
    page = page_for(account_at(watch.first.email))
    page.goto(reverse("contact_incidents"))
    assert page.get_by_text("No incidents", exact=True).count() == 1
    assert_accessible(page)


@pytest.mark.long
def test_it_sets_evidence_and_course_side_by_side_on_a_wide_screen_only(
    page_for: PageFor, watch: Watch, incident_url: str
) -> None:
    """The page is long as it is: on a wide screen nothing stands in one thin column."""
    page = page_for(watch.cast.coordinator)
    page.goto(incident_url)
    for width, is_beside in ((1280, True), (360, False)):
        page.set_viewport_size({"width": width, "height": 900})
        evidence, course = (
            page.locator(f"section[aria-labelledby={each}]") for each in ("what-fell", "course")
        )
        left, right = evidence.bounding_box(), course.bounding_box()
        assert left is not None
        assert right is not None
        assert (right["x"] > left["x"] + left["width"]) == is_beside
        terms = page.locator("section[aria-labelledby=conditions] dt").evaluate_all(
            "all => new Set(all.map(each => each.getBoundingClientRect().x)).size"
        )
        assert (terms > 1) == is_beside


@pytest.mark.long
def test_it_shows_the_reason_form_to_everybody_alike(page_for: PageFor, watch: Watch) -> None:
    visit = watch.submit_low(water_level="spate")
    page = page_for(watch.cast.coordinator)
    page.goto(reverse("visit_test_anyway", args=[watch.cast.group.slug, visit.pk]))
    page.get_by_role("button", name="Test it").click()
    keep(page, "visit_test_anyway")
    assert_accessible(page)
    page.get_by_label("Why the score can be compared").fill("The gauge was normal.")
    page.get_by_role("button", name="Test it").click()
    page.wait_for_url("**/visits/**")
    assert the_incident().visits.get() == visit
    assert mails(kind="contact.told")
