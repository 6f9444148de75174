"""Every e-mail is in its reader's language, not in that of whoever set it off; no text escapes translation."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.test import signals
from django.utils import translation

from alerts.models import IncidentEvent
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from scoring.taxa import all_taxa
from surveys.models import Finding, ReturnEvent
from tests.conftest import Cast
from tests.language.letters import IN_GROUPS_LANGUAGE, Read, everything_owed
from tests.language.pseudo import OPEN, PSEUDO, everything_marked
from tests.language.reading import WORD, shown_texts, unmarked_words, words_of_the_data

ENGLISH = "en-gb"
ADDRESS = re.compile(r"https?://\S+")


@pytest.fixture
def rendered() -> Iterator[set[str]]:
    """Names of the templates that were used."""
    names: set[str] = set()

    def note(template: object, **_more: object) -> None:
        names.add(str(getattr(template, "name", "")))

    signals.template_rendered.connect(note)
    yield names
    signals.template_rendered.disconnect(note)


def subjects_of_mails() -> set[str]:
    folder = Path(settings.BASE_DIR, "templates")
    found = [*folder.glob("*/mail/*.subject.txt")]
    found += [each for app in ("account", "mfa") for each in folder.glob(f"{app}/email/*_subject.txt")]
    return {str(each.relative_to(folder)) for each in found}


def parts_of(letter: Read) -> str:
    return ADDRESS.sub("", "\n".join((letter.subject, letter.text, *shown_texts(letter.html))))


def data() -> frozenset[str]:
    """Names and what people wrote; not what the portal put into words and stored."""
    taxa = {word.lower() for taxon in all_taxa() for word in WORD.findall(str(taxon))}
    return words_of_the_data(besides=(Message, AuditEntry, IncidentEvent, ReturnEvent, Finding)) | taxa


def test_every_letter_is_in_its_readers_language(cast: Cast, rendered: set[str]) -> None:
    with everything_marked():
        with translation.override(ENGLISH):
            letters = everything_owed(cast, accounts=PSEUDO, group=PSEUDO)
        known = data()
    found = {
        (each.kind, each.to): words
        for each in letters
        if (words := unmarked_words(parts_of(each).split("\n"), known))
    }
    assert found == {}
    assert subjects_of_mails() - rendered == set(), "A mail that no test lets be owed."


def test_whoever_set_it_off_in_another_language_is_not_heard(cast: Cast) -> None:
    """The other way round; and the account's choice comes before the group's language."""
    with everything_marked():
        letters = everything_owed(cast, accounts=ENGLISH, group=PSEUDO)
    bracketed = {each.to for each in letters if OPEN in without(stored_texts(), parts_of(each))}
    assert bracketed == IN_GROUPS_LANGUAGE


def stored_texts() -> set[str]:
    """What was put into words once for everybody who reads it."""
    steps = IncidentEvent.objects.across_groups("tests").values_list("note", flat=True)
    asked = Finding.objects.across_groups("tests").values_list("message", flat=True)
    return {text for text in (*steps, *asked) if OPEN in text}


def without(stored: set[str], text: str) -> str:
    for each in stored:
        text = text.replace(each, "")
    return text
