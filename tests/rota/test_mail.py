"""The letters of the rota: to whom, with which link, and what never stands in them."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from portal.outbox.models import Message
from surveys.models import Site
from surveys.rota import mail
from surveys.rota.models import Assignment, CoverOffer, SwapOffer
from tests.conftest import Cast
from tests.rota.conftest import ahead
from tests.rota.making import plan, put_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def place(cast: Cast) -> Assignment:
    """Vera and Owen are down for a site with a hazard that no letter repeats."""
    cast.site.hazards, cast.site.access_notes = "A bull <in> the field.", "Key under the pot."
    cast.site.save()
    planned = plan(cast.site, ahead(3), people_needed=3)
    put_on(planned, cast.other_volunteer)
    return put_on(planned, cast.volunteer)


def swap_with(place: Assignment, cast: Cast) -> SwapOffer:
    theirs = put_on(plan(cast.site, ahead(20)), cast.coordinator)
    return SwapOffer.objects.create(group=cast.group, mine=theirs, yours=place)


Letters = dict[str, Callable[[Assignment, Cast], Message]]
LETTERS: Letters = {
    "plan": lambda place, cast: mail.tell_plan(cast.group, place.user, [place], "k"),
    "changed": lambda place, _cast: mail.tell_place(place, "Moved", "It moved.", key="k"),
    "off": lambda place, _cast: mail.tell_off(place, "Taken off.", key="k"),
    "cover": lambda place, cast: mail.ask_cover(
        CoverOffer.objects.create(planned=place.planned, user=cast.volunteer)
    ),
    "swap": lambda place, cast: mail.ask_swap(swap_with(place, cast)),
}


@pytest.mark.parametrize("kind", sorted(LETTERS))
def test_each_letter_says_what_and_when_and_keeps_quiet_about_hazards(
    place: Assignment, cast: Cast, kind: str
) -> None:
    letter = LETTERS[kind](place, cast)
    assert letter.to_address == "vera@example.org"
    for part in (letter.text, letter.html):
        assert "Stepping stones" in part
        assert "no emergency service" in part.lower()
        for secret in ("bull", "Key under", "example.org"):
            assert secret not in part
    assert "Alder Beck Watch" in letter.subject
    assert letter.about_id is not None


@pytest.mark.parametrize("kind", sorted(set(LETTERS) - {"off"}))
def test_the_link_of_a_letter_opens_without_signing_in(place: Assignment, cast: Cast, kind: str) -> None:
    letter = LETTERS[kind](place, cast)
    address = next(word for word in letter.text.split() if "//" in word and "/groups/" not in word)
    assert address in letter.html
    page = Client().get("/" + address.split("/", 3)[3])
    assert page.status_code == 200
    assert {"no-store", "private", "max-age=0"} <= set(page["Cache-Control"].split(", "))


@pytest.mark.parametrize("kind", ["plan", "cover", "swap"])
def test_whoever_is_asked_to_a_river_reads_the_cautions(place: Assignment, cast: Cast, kind: str) -> None:
    letter = LETTERS[kind](place, cast)
    for words in ("never alone", "in doubt, stay out", "risk assessment"):
        assert words in letter.text
        assert words in letter.html


def test_the_same_letter_is_owed_once(place: Assignment, cast: Cast) -> None:
    for _twice in range(2):
        mail.tell_place(place, "Moved", "It moved.", key="k")
    assert Message.objects.of_group(cast.group).filter(kind="rota.changed").count() == 1


def test_it_says_who_else_goes_and_what_is_open(place: Assignment, cast: Cast) -> None:
    assert mail.who_goes(place.planned, but=cast.volunteer) == "Owen Example, 1 place open"
    letter = LETTERS["plan"](place, cast)
    assert "Who else goes: Owen Example, 1 place open" in letter.text


def test_names_and_headlines_are_plain_text_in_html(cast: Cast) -> None:
    cast.volunteer.name = "Vera <b>"
    cast.volunteer.save()
    letter = LETTERS["plan"](put_on(plan(cast.site, ahead(3)), cast.volunteer), cast)
    assert "Vera &lt;b&gt;" in letter.html
    assert "Vera <b>" in letter.text


def test_a_question_as_subject_keeps_its_own_mark(place: Assignment, cast: Cast) -> None:
    letter = LETTERS["cover"](place, cast)
    assert letter.subject.startswith("Can you step in? AB1")


def test_of_several_visits_each_has_its_link(cast: Cast, second_site: Site) -> None:
    places = [
        put_on(plan(site, ahead(number)), cast.volunteer) for site, number in ((cast.site, 3), (second_site, 9))
    ]
    letter = mail.tell_plan(cast.group, cast.volunteer, places, "k")
    assert letter.text.count("/rota/") == 2 + 1
    assert "Stepping stones" not in letter.subject
