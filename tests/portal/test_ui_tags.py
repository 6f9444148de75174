"""The template tags of the design language, rendered."""

from __future__ import annotations

from datetime import datetime
from types import SimpleNamespace
from typing import Any

import pytest
from django import forms
from django.core.paginator import Paginator
from django.template import Context, Template
from django.template.loader import render_to_string

from portal.charts import Point, sparkline
from portal.templatetags.icons import PATHS, drawing
from portal.templatetags.ui import message_kind, message_word


def shown(source: str, **context: Any) -> str:
    return Template("{% load ui %}" + source).render(Context(context))


def part(partial: str, **context: Any) -> str:
    return render_to_string(f"components/{partial}.html", context)


def test_it_hides_a_decorative_icon_and_names_one_that_means_something() -> None:
    assert 'aria-hidden="true"' in shown('{% icon "site" %}')
    named = shown('{% icon "site" label %}', label='Site "A" <b>')
    assert 'role="img" aria-label="Site &quot;A&quot; &lt;b&gt;"' in named
    assert "aria-hidden" not in named


def test_it_refuses_an_icon_it_has_no_drawing_of() -> None:
    with pytest.raises(ValueError, match="no icon called 'otter'; there are: add, back"):
        drawing("otter")


def test_it_draws_every_meaning_with_an_outline_of_its_own() -> None:
    meanings = ["ok", "info", "caution", "danger", "below", "untested", "unscored", "waiting", "neutral"]
    assert len({PATHS[m] for m in meanings}) == len(meanings)


@pytest.mark.parametrize(
    ("kind", "word"), [("info", "Note"), ("ok", "Done"), ("caution", "Caution"), ("danger", "Danger")]
)
def test_it_says_the_kind_of_a_notice_in_a_word(kind: str, word: str) -> None:
    html = shown("{% notice kind %}Mind the {{ what }}{% endnotice %}", kind=kind, what="<gap>")
    assert f"notice--{kind}" in html
    assert f"{word}:" in html
    assert "Mind the &lt;gap&gt;" in html


def test_it_lets_a_notice_carry_a_word_of_its_own() -> None:
    assert "Sent:" in shown('{% notice "ok" "Sent" %}x{% endnotice %}')


def test_it_heads_a_card_at_the_level_asked_for() -> None:
    html = shown('{% card heading=h level=3 href="/x" %}<p>in</p>{% endcard %}', h="Ford <1>")
    assert '<h3 class="card-heading"><a href="/x">Ford &lt;1&gt;</a></h3>' in html
    assert "<p>in</p>" in html
    assert "<h2" not in html


def test_it_ties_the_help_of_a_fieldset_to_it() -> None:
    html = shown('{% field_set legend="Bank" help="Both" id="b" %}x{% endfield_set %}')
    assert 'aria-describedby="b_help"' in html
    assert 'id="b_help">Both' in html


def test_it_lets_a_wide_table_scroll_by_keyboard() -> None:
    html = shown('{% table_region caption="Visits" %}<table></table>{% endtable_region %}')
    assert 'role="region" aria-label="Visits" tabindex="0"' in html


def test_it_sets_a_drawing_as_it_is_but_escapes_its_caption() -> None:
    spark = sparkline([Point(datetime(2025, 1, 1).date(), 5)], title="T")
    html = shown("{% chart d caption=c %}", d=spark, c="<b>")
    assert html.count("<svg") == 1
    assert "&lt;b&gt;" in html
    assert "chart-narrow" not in html


def test_it_adds_the_narrow_drawing_for_phones() -> None:
    spark = sparkline([], title="T")
    assert shown('{% chart d d caption="x" %}', d=spark).count("<svg") == 2


@pytest.mark.parametrize(
    ("level", "kind", "word"),
    [
        ("success", "ok", "Done"),
        ("info", "info", "Note"),
        ("warning", "caution", "Caution"),
        ("error", "danger", "Not done"),
    ],
)
def test_it_turns_a_message_into_a_notice(level: str, kind: str, word: str) -> None:
    message: Any = SimpleNamespace(level_tag=level, message="m")
    assert (message_kind(message), message_word(message)) == (kind, word)


def test_it_shows_messages_escaped_in_a_live_region() -> None:
    html = part("messages", messages=[SimpleNamespace(level_tag="error", message="<b>")])
    assert 'role="status"' in html
    assert "Not done:" in html
    assert "&lt;b&gt;" in html
    assert part("messages", messages=[]).strip() == ""


def test_it_makes_a_link_of_a_button_with_an_address() -> None:
    assert part("button", label="Go", href="/x").startswith('<a class="button" href="/x">')
    assert 'type="submit"' in part("button", label="Go")
    danger = part("button", label="Go", kind="danger", type="button", name="n", value="v", disabled=True)
    assert 'class="button button--danger" type="button" name="n" value="v" disabled' in danger


@pytest.mark.parametrize(
    ("context", "icon"),
    [({"kind": "ok"}, "ok"), ({}, "neutral"), ({"kind": "danger", "icon_name": "below"}, "below")],
)
def test_it_gives_a_badge_shape_and_word(context: dict[str, str], icon: str) -> None:
    html = part("badge", word="approved", **context)
    assert PATHS[icon] in html
    assert "approved" in html


def test_it_labels_each_cell_of_a_stacked_table_and_keeps_its_roles() -> None:
    columns = [{"label": "Visit"}, {"label": "Score", "numeric": True}]
    html = part("table", caption="Visits", columns=columns, rows=[["9 May", "<31>"]])
    assert "<caption>Visits</caption>" in html
    assert '<th scope="row" role="rowheader">9 May</th>' in html
    assert '<td role="cell" data-label="Score" class="number"><span>&lt;31&gt;</span></td>' in html


def test_it_offers_only_the_pages_there_are() -> None:
    pages = Paginator(range(30), 10)
    first, middle = (part("pagination", page=pages.page(n), query="a=1") for n in (1, 2))
    assert 'rel="prev"' not in first
    assert "Page 1 of 3" in first
    assert 'href="?a=1&amp;page=1" rel="prev"' in middle
    assert 'href="?a=1&amp;page=3" rel="next"' in middle
    assert part("pagination", page=Paginator([1], 10).page(1)).strip() == ""


def test_it_shows_progress_with_and_without_an_amount() -> None:
    known = part("steps", id="s", label="Spots", current=0, total=3)
    assert 'value="0" max="3"' in known
    assert "0 of 3" in known
    unknown = part("steps", id="s", label="Report", current=None)
    assert "value=" not in unknown
    assert "working" in unknown


def test_it_tells_the_course_of_an_incident_in_order() -> None:
    entries = [
        {
            "when": datetime(2025, 9, 9, 14, 5),
            "what": "Fell",
            "kind": "danger",
            "icon_name": "below",
            "who": "A volunteer",
        },
        {"when": datetime(2025, 9, 9, 16, 0), "what": "Told", "text": "one\ntwo <b>"},
    ]
    html = part("timeline", entries=entries)
    assert html.index("Fell") < html.index("Told")
    assert "9 September 2025, 14:05" in html
    assert "one<br>two &lt;b&gt;" in html
    assert PATHS["below"] in html
    assert PATHS["info"] in html


def test_it_reads_a_fact_with_its_note_once() -> None:
    html = part("key_facts", facts=[{"label": "visits", "figure": "22", "note": "of 24"}])
    assert html.count("aria-hidden") == 1
    assert "22" in html


def test_it_asks_before_it_acts() -> None:
    html = part(
        "confirm_form", action="/a", question="Sure?", label="Yes", kind="danger", back="/b", csrf_token="tok"
    )
    assert 'method="post" action="/a"' in html
    assert 'name="csrfmiddlewaretoken" value="tok"' in html
    assert "button--danger" in html
    assert 'href="/b"' in html


def test_it_says_what_to_do_when_a_list_is_empty() -> None:
    html = part("empty_state", title="No drafts", href="/new", action="Begin")
    assert PATHS["river"] in html
    assert '<a class="button" href="/new">Begin</a>' in html


def test_it_marks_the_current_place_of_a_local_way() -> None:
    links = [{"label": "A", "url": "/a", "current": True}, {"label": "B", "url": "/b", "current": False}]
    html = part("local_nav", label="Parts", links=links)
    assert html.count("aria-current") == 1
    assert 'aria-label="Parts"' in html


def test_it_shows_photos_with_their_alternative_and_the_small_one_first() -> None:
    html = part(
        "photo_grid",
        photos=[{"url": "/big", "thumb_url": "/small", "alt": "Foam", "caption": "Below the bridge"}],
    )
    assert '<a href="/big"><img src="/small" alt="Foam"' in html
    assert 'src="/big"' in part("photo_grid", photos=[{"url": "/big", "alt": "Foam"}])


def test_it_ties_all_that_is_said_of_a_lone_field_to_it() -> None:
    html = part("field", id="ph", label="pH", help="Dip", error="Too high", findings=["Odd"], unit="pH")
    assert 'aria-describedby="ph_helptext ph_error ph_findings"' in html
    assert 'aria-invalid="true"' in html
    for target in ("ph_helptext", "ph_error", "ph_findings"):
        assert f'id="{target}"' in html


class Little(forms.Form):
    depth = forms.IntegerField(label="Depth")
    flow = forms.ChoiceField(label="Flow", choices=[("a", "A"), ("b", "B")], widget=forms.RadioSelect)


class LittleSet(forms.BaseFormSet):  # type: ignore[type-arg]
    def clean(self) -> None:
        raise forms.ValidationError("Three spots are needed.")


def test_it_links_every_mistake_to_its_field() -> None:
    form = Little({"depth": "deep"})
    form.add_error(None, "The two do not agree.")
    html = shown("{% error_summary form %}", form=form)
    assert "Not sent yet: 3 entries need another look" in html
    assert '<a href="#id_depth">Depth – Enter a whole number.</a>' in html
    assert '<a href="#id_flow_0">Flow – Choose one of the answers offered.</a>' in html
    assert "<li>The two do not agree.</li>" in html


def test_it_gathers_the_mistakes_of_forms_and_formsets_together() -> None:
    spots = forms.formset_factory(Little, formset=LittleSet, extra=0)
    data = {"form-TOTAL_FORMS": "1", "form-INITIAL_FORMS": "1", "form-0-depth": "x", "form-0-flow": "a"}
    html = shown("{% error_summary form spots %}", form=Little({"depth": "1"}), spots=spots(data))
    assert 'href="#id_flow_0"' in html
    assert 'href="#id_form-0-depth"' in html
    assert "Three spots are needed." in html


@pytest.mark.parametrize("form", [Little(), Little({"depth": "3", "flow": "a"})])
def test_it_says_nothing_when_nothing_is_wrong(form: forms.Form) -> None:
    assert shown("{% error_summary form %}", form=form).strip() == ""
