"""What a phone keeps: which sites, which pages, and a version of each that changes when the page does."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest
from django.urls import reverse
from django.utils import timezone

from alerts.models import Trigger
from portal.accounts.access import Person
from portal.accounts.models import Membership
from portal.accounts.services import end_membership
from portal.audit.services import record_change
from surveys.lists.lines import read_lines
from surveys.models import Site, Visit
from surveys.offline import bank as banks
from surveys.offline.bank import BankSite, bank_pages, bank_sites, kept_sites, last_results
from surveys.services.lists import create_list
from surveys.services.review import approve_visit, return_visit
from surveys.services.sites import save_site
from surveys.services.visits import correct_visit
from surveys.submission import submission_of
from tests.conftest import Cast
from tests.factories import MembershipFactory, SiteFactory, days_ago, member_of, submit


def today() -> date:
    return timezone.localdate()


def codes(sites: list[BankSite]) -> list[str]:
    return [each.site.code for each in sites]


def versions(cast: Cast, person: Person | None = None) -> dict[str, str]:
    """The version of each page that the volunteer's phone keeps, by address."""
    who = person or cast.person("volunteer")
    return {page.address: page.version for page in bank_pages(who, kept_sites(who, today()), today())}


def changed_by(cast: Cast, change: Callable[[], object]) -> set[str]:
    """Addresses whose version a change alters, adds or takes away."""
    before = versions(cast)
    change()
    return {address for address, _version in before.items() ^ versions(cast).items()}


def address(name: str, site: Site) -> str:
    return reverse(name, args=[site.group.slug, site.pk])


# -- sites


def test_the_most_pressing_site_comes_first(cast: Cast) -> None:
    later = SiteFactory(group=cast.group, code="AB2")
    new = SiteFactory(group=cast.group, code="AB3")
    submit(cast.person("volunteer"), cast.site, visited_on=days_ago(50).isoformat())
    submit(cast.person("volunteer"), later, visited_on=days_ago(2).isoformat())
    found = bank_sites(cast.person("volunteer"), today())
    assert codes(found) == [new.code, "AB1", "AB2"]
    assert [each.due.state for each in found] == ["first", "late", "later"]


def test_the_sites_of_all_of_a_persons_groups_are_there(cast: Cast) -> None:
    assert codes(bank_sites(cast.person("volunteer"), today())) == ["AB1"]
    MembershipFactory(group=cast.neighbour, user=cast.volunteer)
    found = bank_sites(cast.person("volunteer"), today())
    assert {(each.site.code, each.group.slug) for each in found} == {
        ("AB1", "alder-beck"),
        ("WB1", "withy-brook"),
    }


def test_a_closed_site_is_no_site_to_go_to(cast: Cast) -> None:
    SiteFactory(group=cast.group, code="AB2", closed_on=days_ago(1))
    assert codes(bank_sites(cast.person("volunteer"), today())) == ["AB1"]


def test_whoever_belongs_to_no_group_has_no_sites(cast: Cast) -> None:
    assert bank_sites(cast.person("stranger"), today()) == []
    assert set(versions(cast, cast.person("stranger"))) == {"/bank/", "/bank/key/", "/bank/timer/"}


def test_a_phone_keeps_the_most_pressing_sites_alone(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    SiteFactory(group=cast.group, code="AB2")
    submit(cast.person("volunteer"), cast.site, visited_on=days_ago(1).isoformat())
    monkeypatch.setattr(banks, "MOST_SITES", 1)
    assert codes(kept_sites(cast.person("volunteer"), today())) == ["AB2"]


def test_the_last_results_are_the_newest_visits(cast: Cast) -> None:
    for day in (90, 60, 30, 10):
        submit(cast.person("volunteer"), cast.site, visited_on=days_ago(day).isoformat())
    assert [visit.visited_on for visit in last_results(cast.site)] == [days_ago(day) for day in (10, 30, 60)]


# -- pages and their versions


def test_a_phone_keeps_the_start_the_open_pages_and_two_of_each_site(cast: Cast) -> None:
    assert set(versions(cast)) == {
        "/bank/",
        "/bank/key/",
        "/bank/timer/",
        address("bank_site", cast.site),
        address("bank_visit", cast.site),
    }


def test_a_version_stays_while_nothing_changes(cast: Cast) -> None:
    submit(cast.person("volunteer"), cast.site)
    assert changed_by(cast, lambda: None) == set()


def test_a_changed_site_changes_its_own_pages_alone(cast: Cast) -> None:
    SiteFactory(group=cast.group, code="AB2")

    def change() -> None:
        person = cast.person("coordinator")
        save_site(person=person, group=cast.group, site=cast.site, fields={"hazards": "A fallen tree."})

    both = {address("bank_site", cast.site), address("bank_visit", cast.site)}
    assert changed_by(cast, change) == {"/bank/", *both}


def test_a_site_that_is_moved_changes_the_forms_of_all_others(cast: Cast) -> None:
    """They ask whether a position is that of another site."""
    other = SiteFactory(group=cast.group, code="AB2")

    def change() -> None:
        person, fields = cast.person("coordinator"), {"latitude": 54.6}
        save_site(person=person, group=cast.group, site=cast.site, fields=fields)

    own = {address("bank_site", cast.site), address("bank_visit", cast.site)}
    assert changed_by(cast, change) == {"/bank/", *own, address("bank_visit", other)}


def test_a_new_visit_changes_the_results_and_not_the_form(cast: Cast) -> None:
    changed = changed_by(cast, lambda: submit(cast.person("other_volunteer"), cast.site))
    assert address("bank_site", cast.site) in changed
    assert address("bank_visit", cast.site) not in changed


def correct(cast: Cast, visit: Visit) -> None:
    from dataclasses import replace

    mended = replace(submission_of(visit), notes="Counted again.")
    correct_visit(person=cast.person("coordinator"), visit=visit, submission=mended, reason="A slip.")


def approve(cast: Cast, visit: Visit) -> None:
    approve_visit(person=cast.person("coordinator"), visit=visit, accept_findings_reason="Seen.")


def send_back(cast: Cast, visit: Visit) -> None:
    return_visit(person=cast.person("coordinator"), visit=visit, message="Look again.")


@pytest.mark.parametrize("step", [correct, approve, send_back])
def test_whatever_is_done_to_a_last_visit_changes_the_sites_page(
    cast: Cast, step: Callable[[Cast, Visit], None]
) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    assert changed_by(cast, lambda: step(cast, visit)) == {address("bank_site", cast.site)}


def test_a_score_made_anew_changes_the_sites_page(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)

    def rescore() -> None:
        visit.scores.filter(index="bmwp").update(scored_at=timezone.now())

    assert changed_by(cast, rescore) == {address("bank_site", cast.site)}


def test_what_is_done_to_an_older_visit_changes_nothing(cast: Cast) -> None:
    old = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(90).isoformat())
    for day in (60, 30, 10):
        submit(cast.person("volunteer"), cast.site, visited_on=days_ago(day).isoformat())
    assert changed_by(cast, lambda: approve(cast, old)) == set()


def test_a_newcomer_changes_the_forms_which_offer_partners(cast: Cast) -> None:
    def join() -> None:
        newcomer = member_of(cast.group, name="Nell Example")
        membership = Membership.objects.of_group(cast.group).get(user=newcomer)
        record_change(actor=cast.person("coordinator"), verb="membership.joined", thing=membership)

    assert address("bank_visit", cast.site) in changed_by(cast, join)


def test_a_departure_changes_them_too(cast: Cast) -> None:
    def leave() -> None:
        membership = Membership.objects.of_group(cast.group).get(user=cast.other_volunteer)
        end_membership(person=cast.person("coordinator"), membership=membership)

    assert address("bank_visit", cast.site) in changed_by(cast, leave)


def test_a_trigger_changes_the_pages_of_its_group_alone(cast: Cast) -> None:
    MembershipFactory(group=cast.neighbour, user=cast.volunteer)

    def agree() -> None:
        trigger = Trigger.objects.create(
            group=cast.group, site=cast.site, index="bmwp", level=40, valid_from=today(), reason="Agreed."
        )
        record_change(actor=cast.person("coordinator"), verb="trigger.set", thing=trigger)

    changed = changed_by(cast, agree)
    assert address("bank_site", cast.site) in changed
    assert address("bank_site", cast.neighbour_site) not in changed


def test_a_new_list_is_told_to_the_forms(cast: Cast) -> None:
    person = cast.person("coordinator")
    changed = changed_by(
        cast, lambda: create_list(person=person, group=cast.group, name="Ours", lines=read_lines("Baetidae"))
    )
    assert address("bank_visit", cast.site) in changed


def test_a_day_on_which_nothing_comes_due_changes_nothing(cast: Cast) -> None:
    submit(cast.person("volunteer"), cast.site, visited_on=days_ago(2).isoformat())
    who = cast.person("volunteer")
    sites = kept_sites(who, today())
    now = bank_pages(who, sites, today())
    assert bank_pages(who, kept_sites(who, days_ago(-1)), days_ago(-1)) == now
    assert bank_pages(who, kept_sites(who, days_ago(-60)), days_ago(-60)) != now


def test_permission_that_runs_out_changes_the_sites_page(cast: Cast) -> None:
    Site.objects.of_group(cast.group).filter(pk=cast.site.pk).update(permission_until=today())
    who = cast.person("volunteer")
    before, after = (
        {page.address: page.version for page in bank_pages(who, kept_sites(who, day), day)}
        for day in (today(), days_ago(-1))
    )
    assert before[address("bank_site", cast.site)] != after[address("bank_site", cast.site)]


def test_a_new_release_changes_every_page(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    addresses = set(versions(cast))
    assert changed_by(cast, lambda: monkeypatch.setattr(banks, "release", lambda: "another")) == addresses
