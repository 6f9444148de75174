"""Text and HTML of each mail say the same: every number, name, date, address and step stands in both."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from html.parser import HTMLParser

import pytest
from django.utils import timezone

from alerts.models import Outcome
from alerts.services.incidents import close_incident
from portal.accounts.models import Group
from portal.outbox.models import Message
from surveys.models import Photo, Site, Visit
from tests.alerts.conftest import LOW, Watch, approved_visit, mails, the_incident
from tests.alerts.test_incidents import approve, correct
from tests.alerts.test_state_table import by_clock
from tests.factories import CLEAN_COUNTS, SiteFactory, days_ago

pytestmark = pytest.mark.django_db
NUMBER = re.compile(r"\d+(?:[.:]\d+)*")
ADDRESS = re.compile(r"https?://[^\s<>\")]+|[\w.]+@[\w.]+\w")


class Reading(HTMLParser):
    """What a person reads of a page, and the addresses that its links lead to."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.links: set[str] = set()
        self._is_hidden = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self._is_hidden = tag in ("title", "style") or (self._is_hidden and tag not in ("body",))
        if tag == "a":
            self.links.add(str(given.get("href")).removeprefix("mailto:"))

    def handle_endtag(self, tag: str) -> None:
        self._is_hidden = self._is_hidden and tag not in ("title", "style")

    def handle_data(self, data: str) -> None:
        if not self._is_hidden:
            self.words.append(data)


def read_html(page: str) -> tuple[str, set[str]]:
    reading = Reading()
    reading.feed(page)
    return " ".join(" ".join(reading.words).split()), reading.links


def numbers_in(words: str) -> set[str]:
    return set(NUMBER.findall(ADDRESS.sub(" ", words)))


def leads_to(links: Iterable[str]) -> set[str]:
    """The addresses of pages and people; the numbers to dial are compared as numbers."""
    return {each for each in links if not each.startswith("tel:")}


def assert_same_facts(mail: Message) -> None:
    words, links = read_html(mail.html)
    plain = " ".join(mail.text.split())
    assert numbers_in(words) == numbers_in(plain), mail.kind
    assert leads_to(links) == set(ADDRESS.findall(plain)), mail.kind
    for name in NAMES:
        assert (name in words) == (name in plain), f"{mail.kind}: {name}"


NAMES = (
    *CLEAN_COUNTS,
    "Stepping stones",
    "Weir head",
    "Alder Beck Watch",
    "Cora Example",
    "Ines Halloran",
    "upstream",
    "washes animals away",
    "Grey fungus",
    "Nothing more is asked of you",
    "goes on",
    "no longer tested",
    "not below the trigger",
    "telephone the agency",
    "source found and stopped",
    "The gauge was normal",
    "emergency",
)


def low(watch: Watch) -> Visit:
    return watch.submit_low(pollution_signs="Grey fungus.", water_level="spate", measurements=READINGS)


READINGS = {"temperature": {"value": "11.4"}, "conductivity": {"value": "912"}}


def hold(watch: Watch) -> Visit:
    Group.objects.filter(pk=watch.cast.group.pk).update(hold_hours=6)
    watch.site.group.refresh_from_db()
    return low(watch)


def lift_one_of_two(watch: Watch) -> None:
    first = watch.submit_low(visited_on=days_ago(3).isoformat())
    watch.submit_low()
    correct(watch.cast, first, CLEAN_COUNTS)


def close(watch: Watch) -> None:
    low(watch)
    person = watch.cast.person("coordinator")
    close_incident(
        incident=the_incident(), person=person, outcome=Outcome.SOURCE_STOPPED, note="Pipe <3> & drain mended."
    )


def unanswered(watch: Watch) -> None:
    visit = low(watch)
    by_clock(watch, visit)


def nobody_left(watch: Watch) -> None:
    watch.second.delete()
    by_clock(watch, low(watch))


def nobody_named(watch: Watch) -> None:
    watch.site.contacts.all().delete()
    low(watch)


def pollution_only(watch: Watch) -> None:
    watch.submit_clean(pollution_signs="Grey fungus.")


COURSES: Mapping[str, Callable[[Watch], object]] = {
    "told": low,
    "held": hold,
    "confirmed": lambda watch: approve(watch.cast, low(watch)),
    "updated": lambda watch: correct(watch.cast, low(watch), LOW | {"Elmidae": 2}),
    "withdrawn": lambda watch: correct(watch.cast, low(watch), CLEAN_COUNTS),
    "joined": lift_one_of_two,
    "lifted": lift_one_of_two,
    "closed": close,
    "unanswered": unanswered,
    "coordinators_told": nobody_left,
    "nobody_named": nobody_named,
    "pollution": pollution_only,
}


@pytest.mark.parametrize("kind", sorted(COURSES))
def test_text_and_html_say_the_same(watch: Watch, kind: str) -> None:
    up = SiteFactory(group=watch.cast.group, code="AB0", name="Weir head", downstream=watch.site)
    approved_visit(up, watch.cast.coordinator, watch.cast.other_volunteer, days_ago(12), bmwp=44)
    Site.objects.of_group(watch.cast.group).update(latitude=54.41, longitude=-2.32)
    watch.site.refresh_from_db()
    COURSES[kind](watch)
    found = [each for each in mails() if each.kind.endswith(f".{kind}")]
    assert found, "the course did not lead to this mail"
    for mail in found:
        assert_same_facts(mail)


def test_later_mails_tell_of_photos_that_have_come_by_then(watch: Watch) -> None:
    visit = low(watch)
    assert "photo" not in mails(kind="contact.told")[0].text
    for number in range(2):
        Photo.objects.create(group=visit.group, visit_number=visit.pk, file=f"photos/{number}.jpg")
    approve(watch.cast, visit)
    (mail,) = mails(kind="contact.confirmed")
    assert "2 photos of the visit are on the incident's page." in mail.text
    assert_same_facts(mail)
    assert "2 photos" in read_html(mail.html)[0]


def test_a_difference_is_noticed(watch: Watch) -> None:
    """The comparison would find a score, a name or a link that stands in one part only."""
    low(watch)
    mail = mails(kind="contact.told")[0]
    good = mail.html
    assert_same_facts(mail)
    for spoilt in (
        good.replace(">6<", ">7<"),
        good.replace("Leuctridae", "L."),
        good.replace("/alert/", "/x/"),
    ):
        assert spoilt != good
        mail.html = spoilt
        with pytest.raises(AssertionError):
            assert_same_facts(mail)


@pytest.mark.parametrize("kind", sorted(set(COURSES) - {"pollution"}))
def test_no_mail_has_a_hole_where_a_word_should_stand(watch: Watch, kind: str) -> None:
    COURSES[kind](watch)
    for mail in mails():
        for part in (mail.subject, mail.text, read_html(mail.html)[0]):
            assert "None" not in part
            assert not re.search(r"\{[{%]|[%}]\}|\(\)|: ,| ,", part), part
        assert str(timezone.localdate().year) in mail.text


def test_what_people_wrote_stays_words_in_the_html(watch: Watch) -> None:
    close(watch)
    mail = mails(kind="contact.closed")[0]
    assert "Pipe <3> & drain mended." in mail.text
    assert "Pipe &lt;3&gt; &amp; drain mended." in mail.html
