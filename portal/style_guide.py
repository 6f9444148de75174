"""What the style guide shows: the tokens as they stand in the style sheet, and a sample of every component."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any, Final

from django import forms

from portal.charts import Point, TriggerLine, draw_history, draw_season, sparkline
from portal.templatetags.icons import PATHS

TOKENS: Final = Path(__file__).parent / "static" / "css" / "tokens.css"


class SampleForm(forms.Form):
    """One field of each kind, with a mistake, a finding and a unit among them."""

    place = forms.CharField(label="Where did you start?", help_text="Name a tree, a stone or a bridge.")
    temperature = forms.DecimalField(label="Water temperature", help_text="Hold it under for a minute.")
    clarity = forms.ChoiceField(
        label="Clarity",
        widget=forms.RadioSelect,
        choices=[("clear", "I see the bed"), ("cloudy", "I see my hand"), ("opaque", "I see neither")],
    )
    weather = forms.ChoiceField(label="Weather", choices=[("dry", "Dry"), ("rain", "Rain")], required=False)
    notes = forms.CharField(label="Notes", widget=forms.Textarea(attrs={"rows": 3}), required=False)
    alone = forms.BooleanField(label="There were two adults at the water the whole time")

    findings = {"temperature": ["27 °C is warmer than this site has been. The coordinator will look at it."]}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["temperature"].widget.attrs.update({"data-unit": "°C", "inputmode": "decimal"})


def colour_tokens() -> dict[str, str]:
    """Name to hexadecimal value of the light palette, read from the style sheet itself."""
    light = TOKENS.read_text().split("@media")[0]
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", light))


def sample_visits() -> list[Point]:
    """Two invented years of monthly visits: one low score, one not tested, one without, two missing."""
    swing = (78, 82, 88, 91, 93, 90, 84, 79, 74, 70, 73, 76)
    visits = [Point(date(2024 + n // 12, n % 12 + 1, 9), float(swing[n % 12] + n // 12)) for n in range(24)]
    visits[8] = Point(visits[8].when, 31, below=True, note="grey water")
    visits[15] = Point(visits[15].when, 60, tested=False, note="six kicks of nine")
    visits[20] = Point(visits[20].when, None, note="river too high")
    return [*visits[:11], *visits[13:]]


def sample_charts() -> dict[str, Any]:
    visits, triggers = sample_visits(), [TriggerLine(50, date(2024, 1, 1))]
    title, index = "BMWP score at a sample site", "BMWP score"
    history = partial(draw_history, visits, triggers, title=title, index_name=index)
    season = partial(draw_season, visits, title=title, index_name=index)
    return {
        "history": history(),
        "history_narrow": history(width=300, height=320),
        "season": season(),
        "season_narrow": season(width=300),
        "spark": sparkline(visits, triggers, title=title),
    }


def sample_course() -> list[dict[str, Any]]:
    """An incident's course, invented."""
    start = datetime(2025, 9, 9, 14, 5, tzinfo=UTC)
    lines = [
        ("danger", "below", "Score 31 fell below the trigger 50", "A volunteer"),
        ("info", "mail", "Alert sent to the agency contact", ""),
        ("caution", "waiting", "No answer for four daytime hours; the deputy was told", ""),
        ("ok", "ok", "Acknowledged", "Agency contact"),
    ]
    return [
        {"when": start + timedelta(hours=n * 2), "kind": kind, "icon_name": icon, "what": what, "who": who}
        for n, (kind, icon, what, who) in enumerate(lines)
    ]


def style_guide_context() -> dict[str, Any]:
    """The whole context of ``portal/style_guide.html``."""
    data = {"place": "", "temperature": "27", "clarity": "clear"}
    return {
        "colours": colour_tokens(),
        "spaces": ["s1", "s2", "s3", "s4", "s5", "s6", "s7"],
        "icons": sorted(PATHS),
        "form": SampleForm(data),
        "empty_form": SampleForm(prefix="plain"),
        "charts": sample_charts(),
        "course": sample_course(),
        "facts": [
            {"label": "visits this year", "figure": "22", "note": "of 24 planned"},
            {"label": "latest BMWP score", "figure": "77"},
            {"label": "trigger", "figure": "50"},
            {"label": "water temperature", "figure": "9.5", "unit": "°C"},
        ],
        "pairs": [("River", "Sample Brook"), ("Standard effort", "3 spots, 3 kicks of 10 seconds each")],
        "columns": [
            {"label": "Visit"},
            {"label": "BMWP score", "numeric": True},
            {"label": "Families", "numeric": True},
        ],
        "rows": [["9 Sep 2025", "31", "8"], ["9 Oct 2025", "71", "15"]],
        "links": [
            {"label": "Visits", "url": "#tables", "current": True},
            {"label": "Charts", "url": "#charts"},
        ],
    }
