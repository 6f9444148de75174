"""From the flat names of a posted page to the nested data of a submission, faults and all.

The page's names are `visited_on`, `spots-1-seconds`, `measurements-ph-value`, `counts-Baetidae-count`,
`other-1-name`, `whole-1-name`. Nothing is judged here: what was typed is kept as typed, so that a draft loses
nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from surveys.models.visits import PositionSource

PLAIN_FIELDS = (
    "not_made_reason",
    "visited_on",
    "started_at",
    "ended_at",
    "recorder",
    "recorder_name",
    "partner",
    "partner_name",
    "kit",
    "position",
    "position_accuracy_m",
    "position_source",
    "checklist_at",
    "water_level",
    "clarity",
    "weather",
    "weather_past_week",
    "fraction_sorted",
    "pollution_signs",
    "notes",
)
SPOT_PARTS = ("flow_type", "kicks", "seconds", "depth_cm")
# The button that takes up a picture's position: the place, a bar, and its accuracy if that is known.
TAKE_UP = "use_position"
# What the kick timer wrote, in a field that nobody sees.
TIMED = "timed"

# What the choice of ranges says of a taxon that was seen and not counted.
PRESENT = "present"

Posted = Mapping[str, Any]


def data_from_post(post: Posted) -> dict[str, Any]:
    """The posted fields as submission data (without `id` and `site`, which the address says)."""
    data: dict[str, Any] = {name: _text(post, name) for name in PLAIN_FIELDS}
    data |= _position_taken_up(post)
    data["was_made"] = _text(post, "was_made") != "no"
    data["checklist_done"] = bool(_text(post, "checklist_done"))
    data["spots"] = _spots(post)
    data["measurements"] = _measurements(post)
    data["counts"] = [*_listed_counts(post), *_other_counts(post), *_whole_tray_counts(post)]
    return data


def _text(post: Posted, name: str) -> str:
    return str(post.get(name, "")).strip()


def _position_taken_up(post: Posted) -> dict[str, str]:
    """What a button of a page without a script puts in: the position that stood in a picture."""
    place, _bar, accuracy_m = _text(post, TAKE_UP).partition("|")
    if not place:
        return {}
    return {"position": place, "position_accuracy_m": accuracy_m, "position_source": PositionSource.PHOTO.value}


def _rows(post: Posted, prefix: str) -> dict[str, dict[str, str]]:
    """`{prefix}-{key}-{part}` as {key: {part: text}}; a key may itself hold hyphens."""
    rows: dict[str, dict[str, str]] = {}
    for name in post:
        if not name.startswith(f"{prefix}-"):
            continue
        key, _, part = name.removeprefix(f"{prefix}-").rpartition("-")
        rows.setdefault(key, {})[part] = _text(post, name)
    return rows


def _spots(post: Posted) -> list[dict[str, Any]]:
    # The page offers no more than two digits: a made-up number must not make it draw a million rows.
    rows = _rows(post, "spots").items()
    numbered = {int(key): row for key, row in rows if key.isdecimal() and len(key) <= 2}
    return [
        _spot(number, row)
        for number, row in sorted(numbered.items())
        if any(row.get(part) for part in (*SPOT_PARTS, TIMED))
    ]


def _spot(number: int, row: Mapping[str, str]) -> dict[str, Any]:
    spot: dict[str, Any] = {"number": number, **{part: row.get(part, "") for part in SPOT_PARTS}}
    return spot | {TIMED: row[TIMED]} if row.get(TIMED) else spot


def _measurements(post: Posted) -> dict[str, dict[str, str]]:
    rows = _rows(post, "measurements")
    return {key: _reading(row) for key, row in rows.items() if row.get("value")}


def _reading(row: Mapping[str, str]) -> dict[str, str]:
    return {part: row[part] for part in ("value", "unit") if row.get(part)}


def _listed_counts(post: Posted) -> Iterator[dict[str, Any]]:
    for taxon, row in _rows(post, "counts").items():
        entry = _entry(row) | _key_mark(row)
        if entry:
            yield {"taxon": taxon, "recorded_as": row.get("as", ""), **entry}


def _other_counts(post: Posted) -> Iterator[dict[str, Any]]:
    yield from _named_counts(post, "other")


def _whole_tray_counts(post: Posted) -> Iterator[dict[str, Any]]:
    yield from ({**entry, "whole_tray": True} for entry in _named_counts(post, "whole"))


def _named_counts(post: Posted, prefix: str) -> Iterator[dict[str, Any]]:
    for row in _rows(post, prefix).values():
        entry = _entry(row) | _key_mark(row)
        if entry or row.get("name"):
            yield {"taxon": row.get("name", ""), "recorded_as": row.get("as", ""), **entry}


def _key_mark(row: Mapping[str, str]) -> dict[str, Any]:
    # Kept without a number too: a find that was worked out and then forgotten is asked about.
    return {"by_key": True} if row.get("key") else {}


def _entry(row: Mapping[str, str]) -> dict[str, Any]:
    # "Looked for, none" is a count of 0; together with a number it is kept as typed, to be asked about.
    typed: dict[str, Any] = {part: row[part] for part in ("count", "range") if row.get(part)}
    if typed.get("range") == PRESENT:
        typed = {key: value for key, value in typed.items() if key != "range"} | {"present": True}
    if not row.get("none"):
        return typed
    return {**typed, "none": True} if typed else {"count": "0"}
