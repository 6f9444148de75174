"""What templates ask of a visit: a score as printed, how its status looks, a finding beside its value."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from functools import lru_cache

from django import template
from django.template.loader import render_to_string
from django.utils.formats import date_format, number_format
from django.utils.html import format_html_join
from django.utils.safestring import SafeString
from django.utils.text import capfirst
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from scoring.taxa import all_taxa
from surveys.badges import badge
from surveys.forms.counts import CountRow
from surveys.models import Visit
from surveys.models.visits import Status
from surveys.queries import DueSite
from surveys.scores.columns import MOST_COLUMNS, ScoreColumn, columns_of
from surveys.scores.provisional import Provisional
from surveys.submission.numbers import plain_text
from surveys.texts.told import told
from surveys.visits.effort import SpotLike

register = template.Library()
# A text of scoring in the reader's language.
register.filter("told", told)


@register.filter
def common_name(english: str) -> str:
    """A taxon's common name within a sentence: as it is in English, else as the other language writes it."""
    listed = english.capitalize()
    own = told(listed)
    return english if own == listed else own


KINDS = {Status.WAITING: "waiting", Status.RETURNED: "caution", Status.APPROVED: "ok"}


@register.simple_tag
def score_columns(visits: Sequence[Visit], most: int = MOST_COLUMNS) -> list[ScoreColumn]:
    """The columns of scores that the recording lists of these visits support (one query)."""
    return columns_of(visits, most=most)


@register.filter
def in_column(visit: Visit, column: ScoreColumn) -> str:
    """The visit's score in that column as printed, or a dash."""
    return column.cell(visit)


@register.simple_tag
def count_row(row: CountRow) -> str:
    """One line of the table of counts. Most are still empty, and those look the same on everybody's form."""
    return _row("surveys/_count_row.html", row)


@register.simple_tag
def other_row(row: CountRow, is_whole: bool = False) -> str:
    """One line whose taxon is typed."""
    return _row("surveys/_other_row.html", row, is_whole)


def _row(template: str, row: CountRow, is_whole: bool = False) -> str:
    # Nothing else goes into a line, and what is said of its mistakes is nearly always said once only.
    draw = _drawn_row.__wrapped__ if row.errors or row.findings else _drawn_row
    return draw(template, row, is_whole, get_language() or "")


@lru_cache(maxsize=2_000)
def _drawn_row(template: str, row: CountRow, is_whole: bool, _language: str) -> str:
    return render_to_string(template, {"row": row, "is_whole": is_whole})


@register.simple_tag
def provisional_score(provisional: Provisional) -> SafeString:
    """The score while somebody counts, with its tables; nothing where no index can be worked out."""
    return _provisional(provisional, get_language() or "") if provisional.headline else SafeString("")


@lru_cache(maxsize=100)
def _provisional(provisional: Provisional, _language: str) -> SafeString:
    return render_to_string("surveys/_provisional_score.html", {"provisional": provisional})


@register.simple_tag
def known_taxa_options() -> SafeString:
    """Every known taxon as a suggestion for a field of names."""
    return _taxa_in(get_language() or "")


@lru_cache
def _taxa_in(_language: str) -> SafeString:
    rows = ((each.name, told(capfirst(each.english))) for each in all_taxa())
    return format_html_join("", '<option value="{}">{}</option>', rows)


@register.simple_tag
def status_badge(visit: Visit) -> SafeString:
    """Where the visit stands, as a badge."""
    return _status_badge(visit.status, get_language())


@lru_cache(maxsize=100)
def _status_badge(status: str, _language: str | None) -> SafeString:
    kind = KINDS[Status(status)]
    return badge("info" if kind == "waiting" else kind, kind, str(Status(status).label))


@register.filter
def kicking_seconds(visit: Visit) -> str:
    """All kicking time of the visit, in seconds; its effort or spots should have been read along."""
    spots: Iterable[SpotLike] = visit.effort if hasattr(visit, "effort") else visit.spots.all()
    seconds = sum(spot.seconds for spot in spots)
    return _("%(seconds)g s") % {"seconds": seconds}


@register.simple_tag
def due_badge(due: DueSite | None) -> SafeString:
    """When the next visit is due, as a badge; None stands for a closed site."""
    if due is None:
        return badge("", "close", _("closed"))
    if due.state == "high":
        return badge("danger", "danger", _("river above its limit: stay away"))
    day = date_format(due.due_on, "j M Y") if due.due_on else ""
    words = {
        "first": _("first visit open"),
        "later": _("due on %(day)s") % {"day": day},
        "due": _("due now, by %(day)s") % {"day": day},
        "late": _("was due on %(day)s") % {"day": day},
    }
    kind = {"due": "info", "late": "caution"}.get(due.state, "")
    return badge(kind, "calendar", words[due.state])


@register.filter
def span(limits: tuple[Decimal, Decimal]) -> str:
    """A range as it is printed: "0 – 14"."""
    low, high = (number_format(plain_text(limit), use_l10n=True, force_grouping=True) for limit in limits)
    return f"{low} – {high}"
