"""The short lists of the desk, of whatever kind: each row is a name, a line and a moment. One query for all.

Each list gives its first rows and how many there are, so that nothing on the desk grows with the group.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import CharField, Count, DateField, F, QuerySet, TextField, Value, Window
from django.db.models.functions import Cast, Coalesce, Concat, NullIf
from django.utils import timezone

from alerts.services.drills import PAUSE, contacts_to_rehearse
from portal.accounts.access import Person, allowed
from portal.accounts.models import Group, Role
from portal.accounts.prepared import planned
from portal.desk.figures import Figures
from portal.outbox.queries import undelivered_messages
from portal.queries import returned_to
from surveys.outings.returns import returns_for
from surveys.people.models import EnquiryState
from surveys.people.queries import open_enquiries
from surveys.queries import own_drafts
from surveys.review.questions import answers_waiting, questions_to

DESK_ROWS = 12


@dataclass(frozen=True)
class Row:
    """One thing that waits. `pk` is its own key; `about` and `day` are those of the visit it is about."""

    pk: UUID
    about: UUID
    title: str
    words: str
    day: date | None
    at: datetime | None

    @property
    def is_over(self) -> bool:
        """Whether its moment has passed: a safe return whose time is up."""
        return self.at is not None and self.at <= timezone.now()

    @property
    def may_rehearse(self) -> bool:
        """Whether a rehearsal can be sent: none was in the last hours."""
        return self.at is None or self.at <= timezone.now() - PAUSE

    @property
    def state_label(self) -> str:
        """An enquiry's state in words."""
        return str(EnquiryState(self.words).label)


@dataclass(frozen=True)
class Part:
    """The first rows of one list, and how many there are in all."""

    rows: list[Row] = field(default_factory=list)
    number: int = 0

    def __bool__(self) -> bool:
        return bool(self.rows)


def parts_of(person: Person, group: Group, figures: Figures) -> Mapping[str, Part]:
    """The lists that the person may see, by name, each in its own order (one query)."""
    role = person.roles.get(group.pk)
    if role is None:
        return {}
    now = timezone.now()
    limit = now - timedelta(days=figures.drill_days)
    return _sorted_out(_parts(group, person.user_id, Role(role), limit, now))


@planned
def _parts(
    group: Group, user_id: UUID | None, role: Role, limit: datetime, now: datetime
) -> QuerySet[Any, Any]:
    person = Person(user_id, roles={group.pk: role})
    queries: list[QuerySet[Any, Any]] = []
    if person.is_member(group.pk):
        queries += _own_parts(person, group)
    if allowed(person, "visit.review", group):
        queries.append(_asked("answers", answers_waiting(group), "asked_of", "answer", "answered_at"))
    if person.is_coordinator(group.pk):
        queries += _groups_parts(group, limit, now)
    first, *others = queries
    return first.union(*others, all=True)


def _own_parts(person: Person, group: Group) -> list[QuerySet[Any, Any]]:
    site = _site("site")
    returns = returns_for(person, group).filter(ended_at=None).order_by("expected_at")
    drafts = own_drafts(person).filter(group=group)
    returned = returned_to(person, group)
    return [
        _part("returns", returns, title=site, words=F("started_by__name"), at=F("expected_at")),
        _part("drafts", drafts, title=site, words=Value(""), at=F("updated_at")),
        _part(
            "returned", returned, title=site, words=F("review_message"), at=F("reviewed_at"), day="visited_on"
        ),
        _asked("asked", questions_to(person, group).order_by("asked_at"), "asked_by", "text", "asked_at"),
    ]


def _groups_parts(group: Group, limit: datetime, now: datetime) -> list[QuerySet[Any, Any]]:
    contacts, enquiries = contacts_to_rehearse(group, limit), open_enquiries(group)
    name = Coalesce(NullIf(F("to_name"), Value("")), F("to_address"), output_field=CharField())
    messages = undelivered_messages(group, now)
    return [
        _part("undelivered", messages, title=name, words=F("subject"), at=F("created_at")),
        _part("rehearse", contacts, title=F("name"), words=F("organisation"), at=F("last_sent_at")),
        _part("enquiries", enquiries, title=F("name"), words=F("state"), at=F("asked_at")),
    ]


def _asked(part: str, questions: QuerySet[Any, Any], who: str, text: str, at: str) -> QuerySet[Any, Any]:
    words = Concat(F(f"{who}__name"), Value(": "), F(text), output_field=TextField())
    of_visit = {"about": "visit_id", "day": "visit__visited_on"}
    return _part(part, questions, title=_site("visit__site"), words=words, at=F(at), **of_visit)


def _site(path: str) -> Concat:
    return Concat(F(f"{path}__code"), Value(" "), F(f"{path}__name"), output_field=TextField())


def _part(
    part: str, rows: QuerySet[Any, Any], *, title: Any, words: Any, at: Any, about: str = "pk", day: str = ""
) -> QuerySet[Any, Any]:
    """One list in the columns that all lists share; the names are such as no model has."""
    return rows.values(
        of_part=Value(part, output_field=TextField()),
        of_number=Window(Count("pk")),
        row_pk=F("pk"),
        row_about=F(about),
        row_title=Cast(title, TextField()),
        row_words=Cast(words, TextField()),
        row_day=F(day) if day else Cast(Value(None), DateField()),
        row_at=at,
    )[:DESK_ROWS]


def _sorted_out(found: Iterable[Mapping[str, Any]]) -> Mapping[str, Part]:
    # The database keeps the order inside each part of a union: it appends one to the other.
    parts: dict[str, list[Row]] = {}
    numbers: dict[str, int] = {}
    for each in found:
        row = Row(*(each[f"row_{name}"] for name in ("pk", "about", "title", "words", "day", "at")))
        parts.setdefault(each["of_part"], []).append(row)
        numbers[each["of_part"]] = each["of_number"]
    return {name: Part(rows, numbers[name]) for name, rows in parts.items()}
