"""Rule by rule, which records it speaks of and which it lets pass, on both sides of each limit.

The numbers are written out here and never read from the rules: a limit that moves must turn a row red.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any
from uuid import UUID

from surveys.rules import Context, SiteHistory
from surveys.visits.positions import Landmark
from tests.surveys.rules.checking import KIT, PARTNER, USUAL, at_site, with_history, with_kit, with_people

Changes = dict[str, Any]
PAST = replace(USUAL, past_record=True)
EIGHT = (11.0, 12.0, 12.5, 11.5, 12.0, 13.0, 11.0, 12.5)
GONE: Changes = {"was_made": False, "not_made_reason": "dry", "spots": [], "measurements": {}, "counts": []}


@dataclass(frozen=True)
class Row:
    """One record, and whether the rule has something to say of it."""

    rule: str
    speaks: bool
    changes: Changes = field(default_factory=dict)
    context: Context = USUAL

    def __str__(self) -> str:
        return f"{self.rule}: {'speaks' if self.speaks else 'silent'} {self.changes}"[:90]


def spots(*rows: Changes) -> Changes:
    usual = {"kicks": "3", "seconds": "30", "depth_cm": "20"}
    return {"spots": [{"number": number, **usual, **row} for number, row in enumerate(rows, start=1)]}


def alike(number: int = 3, **parts: str) -> Changes:
    return spots(*[dict(parts)] * number)


def read(**values: str) -> Changes:
    return {"measurements": {key: {"value": value} for key, value in values.items()}}


def on(day: str) -> Changes:
    return {"visited_on": day}


def _days() -> Iterator[Row]:
    visit_day, day_before, day_after = date(2026, 6, 14), date(2026, 6, 13), date(2026, 6, 15)
    yield Row("date_future", False, on("2026-06-15"))
    yield Row("date_future", True, on("2026-06-16"))
    yield Row("date_too_early", False, on("1900-01-01"))
    yield Row("date_too_early", True, on("1899-12-31"))
    yield Row("site_not_open", False, {}, at_site(opened_on=visit_day))
    yield Row("site_not_open", True, {}, at_site(opened_on=day_after))
    yield Row("site_closed", False, {}, at_site(closed_on=visit_day))
    yield Row("site_closed", True, {}, at_site(closed_on=day_before))
    yield Row("permission_lapsed", False, {}, at_site(permission_until=visit_day))
    yield Row("permission_lapsed", True, {}, at_site(permission_until=day_before))
    yield Row("permission_lapsed", False, {}, replace(at_site(permission_until=day_before), past_record=True))
    yield Row("same_day", False, {}, replace(USUAL, same_day=0))
    yield Row("same_day", True, {}, replace(USUAL, same_day=1))
    yield Row("end_before_start", False, {"started_at": "10:00", "ended_at": "10:00"})
    yield Row("end_before_start", True, {"started_at": "10:00", "ended_at": "09:59"})
    yield Row("end_before_start", False, {"started_at": "", "ended_at": "09:59"})


def _people() -> Iterator[Row]:
    me, stranger = str(PARTNER), str(UUID(int=8))
    yield Row("not_a_member", False, {"recorder": me})
    yield Row("not_a_member", True, {"recorder": stranger})
    yield Row("not_a_member", True, {"partner": stranger})
    yield Row("same_person", False, {"partner": me})
    yield Row("same_person", True, {"recorder": me, "partner": me})
    yield Row("bare_recorder", True, {"recorder_name": "Old Hand"})
    yield Row("bare_recorder", False, {"recorder_name": "Old Hand"}, PAST)
    yield Row("alone", True, {"partner_name": ""})
    yield Row("alone", False, {"partner_name": "", "partner": me})
    yield Row("alone", False, {"partner_name": ""}, PAST)
    yield Row("alone", False, {**GONE, "partner_name": ""})


def _ready() -> Iterator[Row]:
    """Robin is 7 by number, Una 8: who is under 18 or trained is said by the context."""
    robin, una = str(PARTNER), str(UUID(int=8))
    alone: Changes = {"recorder": robin, "partner_name": ""}
    pair: Changes = {**alone, "partner": una}
    young = with_people(minors={7})
    yield Row("no_adult", True, alone, young)
    yield Row("no_adult", True, pair, with_people(minors={7, 8}))
    yield Row("no_adult", False, pair, young)
    yield Row("no_adult", False, {**alone, "partner_name": "Their aunt"}, young)
    yield Row("no_adult", False, {**GONE, **alone}, young)
    kept = with_people(may={8: "first_aid"})
    yield Row("untrained", True, pair, kept)
    yield Row("untrained", True, pair, with_people(may={8: "sample"}))
    yield Row("untrained", False, pair, with_people(may={8: "lead"}))
    yield Row("untrained", False, pair, with_people(may={7: "sample"}))
    yield Row("untrained", False, pair, with_people())
    yield Row("untrained", False, {**GONE, **pair}, kept)


def _kits() -> Iterator[Row]:
    """The visit is of 14 June: kit cleaned on the 9th has dried for five days, on the 10th for four."""
    ours: Changes = {"kit": str(KIT)}
    elsewhere, here = with_kit(river="Mallow Water"), with_kit(river="Alder Beck")
    yield Row("unknown_kit", False, ours, here)
    yield Row("unknown_kit", True, ours)
    yield Row("unknown_kit", False)
    yield Row("kit_uncleaned", False, ours, here)
    yield Row("kit_uncleaned", True, ours, elsewhere)
    yield Row("kit_uncleaned", False, {**GONE, **ours}, elsewhere)
    yield Row("kit_uncleaned", False, ours, with_kit(river="Mallow Water", cleaned=date(2026, 6, 9)))
    yield Row("kit_uncleaned", True, ours, with_kit(river="Mallow Water", cleaned=date(2026, 6, 10)))
    hot, rinsed = (
        with_kit(river="Mallow Water", cleaned=date(2026, 6, 14), method=how) for how in ("hot_water", "rinsed")
    )
    yield Row("kit_uncleaned", False, ours, hot)
    yield Row("kit_uncleaned", True, ours, rinsed)


def _positions() -> Iterator[Row]:
    """North of a site that is known to 10 m, in steps of 0.00001 degrees, which are 1.113 m (PROJ)."""
    alone, pair = near_sites(), near_sites(Landmark("AB2", 54.502, -2.5, 10))

    def at(steps: int, accuracy: str = "10", source: str = "phone") -> Changes:
        place = f"{54.5 + steps / 100_000:.5f} N, 2.5 W"
        return {"position": place, "position_accuracy_m": accuracy, "position_source": source}

    # 250 m, 10 m of the phone and 10 m of the site's place: 270 m.
    yield Row("position_far", False, at(242), alone)
    yield Row("position_far", True, at(243), alone)
    yield Row("position_far", False, {**GONE, **at(243)}, alone)
    yield Row("position_far", False, at(422, "210"), alone)
    yield Row("position_far", True, at(422, "209"), alone)
    # A picture that does not say how exact it is: 100 m instead of 10.
    yield Row("position_far", False, at(323, "", "photo"), alone)
    yield Row("position_far", True, at(324, "", "photo"), alone)
    # The other site lies 222.6 m north: it must be nearer by 50 m and twice the 20 m of doubt.
    yield Row("position_far", False, at(140), pair)
    yield Row("position_far", True, at(141), pair)
    yield Row("position_far", False, {}, pair)


def near_sites(*others: Landmark) -> Context:
    site = {"code": "AB1", "latitude": 54.5, "longitude": -2.5, "location_precision_m": 10}
    return replace(at_site(**site), others=others)


def _water() -> Iterator[Row]:
    for rule, key, worst, next_worst in (
        ("spate", "water_level", "spate", "high"),
        ("bed_hidden", "clarity", "opaque", "cloudy"),
    ):
        yield Row(rule, True, {key: worst})
        yield Row(rule, False, {key: next_worst})
        yield Row(rule, False, {key: worst}, PAST)
        yield Row(rule, False, {**GONE, key: worst})


def _made_or_not() -> Iterator[Row]:
    yield Row("not_made_reason", False, GONE)
    yield Row("not_made_reason", True, {**GONE, "not_made_reason": ""})
    yield Row("not_made_reason", True, {"not_made_reason": "dry"})
    yield Row("not_made_yet_found", False, GONE)
    yield Row("not_made_yet_found", True, {**GONE, "counts": {"Baetidae": 0}})
    yield Row("not_made_yet_found", True, {**GONE, **read(ph="7")})
    yield Row("not_made_yet_found", True, {**GONE, **spots({})})


def _effort() -> Iterator[Row]:
    """Three spots of three kicks of 10 s: a tenth either way is 27 to 33 s a spot, 81 to 99 s a visit."""
    yield Row("effort_off_plan", False, alike(seconds="33"))
    yield Row("effort_off_plan", True, spots({}, {}, {"seconds": "33.1"}))
    yield Row("effort_off_plan", False, alike(seconds="27"))
    yield Row("effort_off_plan", True, spots({}, {}, {"seconds": "26.9"}))
    yield Row("effort_off_plan", True, alike(2))
    yield Row("effort_off_plan", True, alike(4))
    yield Row("effort_off_plan", True, spots({}, {}, {"kicks": "2", "seconds": "20"}))
    yield Row("effort_off_plan", True, spots({}, {}, {"kicks": "4", "seconds": "40"}))
    yield Row("effort_off_plan", True, {"spots": []})
    yield Row("effort_off_plan", False, GONE)


def timed(*seconds: str, at: str = "2026-06-14T09:30:00Z", **parts: str) -> Changes:
    """One spot whose kicks a phone timed."""
    return spots({**parts, "timed": [{"started_at": at, "seconds": each} for each in seconds]})


def _timing() -> Iterator[Row]:
    """A tenth either way of a kick of 10 s, and of the time that the phone took; the day is British."""
    yield Row("timed_otherwise", False, timed("10.0", "10.0", "10.0", seconds="33"))
    yield Row("timed_otherwise", True, timed("10.0", "10.0", "10.0", seconds="33.1"))
    yield Row("timed_otherwise", False, timed("10.0", "10.0", "10.0", seconds="27"))
    yield Row("timed_otherwise", True, timed("10.0", "10.0", "10.0", seconds="26.9"))
    yield Row("timed_otherwise", True, timed("10.0", "10.0", "10.0", kicks="2"))
    yield Row("timed_otherwise", True, timed("15.0", "15.0"))
    yield Row("timed_otherwise", False, spots({"seconds": "99"}))
    yield Row("timed_off_plan", False, timed("9.000", "11.000", "10.000"))
    yield Row("timed_off_plan", True, timed("8.999", "11.000", "10.000"))
    yield Row("timed_off_plan", True, timed("9.000", "11.001", "10.000"))
    yield Row("timed_off_plan", False, timed("18", "22", "20"), at_site(seconds_per_kick=20))
    yield Row("timed_other_day", False, timed("10.0", at="2026-06-14T22:59:59Z"))
    yield Row("timed_other_day", True, timed("10.0", at="2026-06-14T23:00:00Z"))
    yield Row("timed_other_day", False, timed("10.0", at="2026-06-13T23:00:00Z"))
    yield Row("timed_other_day", True, timed("10.0", at="2026-06-13T22:59:59Z"))
    yield Row("timed_damaged", False, spots({"timed": "[]"}))
    yield Row("timed_damaged", False, timed("10.0", ""))
    yield Row("timed_damaged", True, timed("10.0", "ten"))
    yield Row("timed_damaged", True, spots({"timed": "[{"}))


def _kicks() -> Iterator[Row]:
    yield Row("kick_length", False, alike(seconds="360"))
    yield Row("kick_length", True, spots({}, {}, {"seconds": "360.1"}))
    yield Row("kick_length", False, alike(seconds="0.1"))
    yield Row("kick_length", True, spots({"seconds": "0"}))
    yield Row("kick_length", False, alike(seconds="540"), at_site(seconds_per_kick=90))
    yield Row("kick_length", True, alike(seconds="540.1"), at_site(seconds_per_kick=90))
    yield Row("spot_twice", False, alike(2))
    yield Row("spot_twice", True, {"spots": [*spots({})["spots"], *spots({})["spots"]]})


def _depths() -> Iterator[Row]:
    yield Row("depth_range", False, spots({"depth_cm": "0.1"}))
    yield Row("depth_range", True, spots({"depth_cm": "0"}))
    yield Row("depth_range", False, spots({"depth_cm": "150"}))
    yield Row("depth_range", True, spots({"depth_cm": "150.1"}))
    yield Row("depth_range", False, spots({"depth_cm": ""}))
    yield Row("shallow", True, spots({"depth_cm": "0.3"}))
    yield Row("shallow", False, spots({"depth_cm": "1"}))
    yield Row("shallow", False, spots({"depth_cm": "0"}))
    yield Row("deep", False, spots({"depth_cm": "50"}))
    yield Row("deep", True, spots({"depth_cm": "50.1"}))
    yield Row("deep", True, spots({"depth_cm": "150"}))
    yield Row("deep", False, spots({"depth_cm": "150.1"}))


# Quantity: just impossible, lowest possible, highest possible, just impossible again.
POSSIBLE = {
    "temperature": ("-1.1", "-1", "40", "40.1"),
    "ph": ("-0.1", "0", "14", "14.1"),
    "conductivity": ("-1", "0", "60000", "60001"),
    "oxygen": ("-0.1", "0", "25", "25.1"),
    "oxygen_saturation": ("-1", "0", "250", "251"),
    "turbidity": ("-1", "0", "4000", "4001"),
    "nitrate": ("-1", "0", "500", "501"),
    "phosphate": ("-0.1", "0", "50", "50.1"),
}
# Quantity: unusual, lowest usual, highest usual, unusual. Nothing below nought is unusual: it is impossible.
MOSTLY = {
    "temperature": ("-0.1", "0", "25", "25.1"),
    "ph": ("5.9", "6", "9", "9.1"),
    "conductivity": ("49", "50", "1500", "1501"),
    "oxygen_saturation": ("59", "60", "120", "121"),
    "turbidity": ("", "0", "100", "101"),
    "nitrate": ("", "0", "50", "51"),
    "phosphate": ("", "0", "3", "3.1"),
}


def _ranges() -> Iterator[Row]:
    for rule, table in (("impossible_reading", POSSIBLE), ("unusual_reading", MOSTLY)):
        for key, values in table.items():
            for value, speaks in zip(values, (True, False, False, True), strict=True):
                if value:
                    yield Row(rule, speaks, read(**{key: value}))
    yield Row("unusual_reading", False, read(ph="14.1"))
    yield Row("unusual_reading", False, read(nitrate="<60"))
    in_phosphorus = {"measurements": {"phosphate": {"value": "0.99", "unit": "mg/L P"}}}
    yield Row("unusual_reading", True, in_phosphorus)


def _oxygen() -> Iterator[Row]:
    """At 10 °C water in equilibrium holds 11.29 mg/L."""
    for mg, speaks in (("6.7", True), ("6.8", False), ("13.5", False), ("13.6", True)):
        yield Row("oxygen_unusual", speaks, read(oxygen=mg, temperature="10"))
    yield Row("oxygen_unusual", False, read(oxygen="2"))
    for percent, speaks in (("90.0", True), ("90.2", False), ("110", False), ("110.2", True)):
        both = read(oxygen="11.3", temperature="10", oxygen_saturation=percent)
        yield Row("saturation_disagrees", speaks, both)


def _jumps() -> Iterator[Row]:
    """Median 12, middle half 11.125 to 12.5: three spreads either way are 7.875 to 16.125."""
    eight = with_history(readings={"temperature": EIGHT})
    for value, speaks in (("7.8", True), ("7.9", False), ("16.1", False), ("16.2", True)):
        yield Row("reading_jumps", speaks, read(temperature=value), eight)
    yield Row("reading_jumps", False, read(temperature="21"), with_history(readings={"temperature": EIGHT[:7]}))
    flat = with_history(readings={"temperature": (12.0,) * 8})
    yield Row("reading_jumps", False, read(temperature="13.8"), flat)
    yield Row("reading_jumps", True, read(temperature="13.9"), flat)


def _counts() -> Iterator[Row]:
    yield Row("no_counts", True, {"counts": []})
    yield Row("no_counts", False, {"counts": {"Baetidae": 0}})
    yield Row("no_counts", False, GONE)
    yield Row("taxon_twice", True, {"counts": {"Baetidae": 1, "baetidae": 2}})
    yield Row("taxon_twice", False, {"counts": {"Baetidae": 1, "Baetis": 2}})
    apart = {"counts": [{"taxon": "Baetidae", "count": "4", "whole_tray": True}]}
    yield Row("fraction_sorted", True, apart)
    yield Row("fraction_sorted", False, {**apart, "fraction_sorted": "1/4"})
    yield Row("fraction_sorted", False, {"counts": {"Baetidae": 4}})
    yield Row("many", False, {"counts": {"Baetidae": 30}}, with_history(most={"Baetidae": 3}))
    yield Row("many", True, {"counts": {"Baetidae": 31}}, with_history(most={"Baetidae": 3}))
    hundreds = {"counts": [{"taxon": "Baetidae", "range": "100-999"}]}
    yield Row("many", False, hundreds, with_history(most={"Baetidae": 10}))
    yield Row("many", True, hundreds, with_history(most={"Baetidae": 9}))
    one = {"counts": {"Baetidae": 1}}
    yield Row("new_here", False, one, with_history(approved_visits=4))
    yield Row("new_here", True, one, with_history(approved_visits=5))
    yield Row("new_here", False, one, with_history(approved_visits=5, most={"Baetidae": 1}))
    yield Row("new_here", False, {"counts": {"Baetidae": 0}}, with_history(approved_visits=5))


def _seasons() -> Iterator[Row]:
    found: Changes = {"counts": {"Nemouridae": 1}}
    winter = (1, 2, 2, 3, 3, 3, 4, 4)
    # The visit is in June: May to July are its part of the year, December and January are neighbours.
    yield Row("out_of_season", True, found, seasons(winter, visits={5: 2, 6: 1, 7: 2}))
    yield Row("out_of_season", False, found, seasons(winter, visits={5: 2, 6: 1, 7: 1, 8: 9}))
    yield Row("out_of_season", False, found, seasons(winter[1:], visits={6: 5}))
    yield Row("out_of_season", False, found, seasons((*winter, 7), visits={6: 5}))
    yield Row("out_of_season", True, found, seasons((*winter, 8), visits={6: 5}))
    yield Row("out_of_season", False, {"counts": {"Nemouridae": 0}}, seasons(winter, visits={6: 5}))
    yield Row("out_of_season", False, on("2025-12-14") | found, seasons(winter, visits={12: 5}))
    yield Row("out_of_season", True, on("2025-11-14") | found, seasons(winter, visits={12: 5}))


def seasons(months: tuple[int, ...], visits: dict[int, int]) -> Context:
    return with_history(months={"Nemouridae": months}, visits_by_month=visits)


def _scores() -> Iterator[Row]:
    # Four families of 10 make a BMWP of 40, worms one more and midges two; the site's 60s allow 42 to 78.
    low = {"Heptageniidae": 1, "Perlidae": 1, "Leuctridae": 1, "Capniidae": 1}
    yield Row("score_jumps", True, {"counts": low | {"Oligochaeta": 1}}, scored(8))
    yield Row("score_jumps", False, {"counts": low | {"Chironomidae": 1}}, scored(8))
    yield Row("score_jumps", False, {"counts": low}, scored(7))
    yield Row("score_jumps", False, {"counts": low}, replace(scored(8), history=SiteHistory()))
    yield Row("score_jumps", False, GONE, scored(8))


def scored(visits: int) -> Context:
    return with_history(score_index="bmwp", scores=(60.0,) * visits)


CHECKED: tuple[Row, ...] = (
    *_days(),
    *_people(),
    *_ready(),
    *_kits(),
    *_water(),
    *_made_or_not(),
    *_positions(),
    *_effort(),
    *_kicks(),
    *_timing(),
    *_depths(),
    *_ranges(),
    *_oxygen(),
    *_jumps(),
    *_counts(),
    *_seasons(),
    *_scores(),
)


def one(taxon: str, **amount: str) -> Changes:
    return {"counts": [{"taxon": taxon, **amount}]}
