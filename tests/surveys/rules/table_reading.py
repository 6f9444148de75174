"""The records of the rule table that are told while a submission is read."""

from __future__ import annotations

from tests.surveys.rules.table import Row, alike, one, read, spots

# Rules applied while a submission is read: they have no check that could be called apart.
READ: tuple[Row, ...] = (
    Row("missing", True, {"visited_on": ""}),
    Row("missing", True, spots({"kicks": "", "seconds": "30"})),
    Row("missing", False, {"notes": ""}),
    Row("unreadable", True, one("Baetidae", count="-1")),
    Row("unreadable", False, one("Baetidae", count="0")),
    Row("unreadable", False, one("Baetidae", count="1000000")),
    Row("unreadable", True, one("Baetidae", count="1000001")),
    Row("unreadable", True, read(ph="7.4.1")),
    Row("unreadable", False, read(ph="7,4")),
    Row("unreadable", True, read(ph="<7")),
    Row("unreadable", False, read(nitrate="<7")),
    Row("unreadable", False, {"notes": "x" * 10_000}),
    Row("unreadable", True, {"notes": "x" * 10_001}),
    Row("unreadable", False, alike(seconds="9999.9")),
    Row("unreadable", True, alike(seconds="10000")),
    Row("unreadable", False, {"spots": [{"number": 99, "kicks": "1", "seconds": "10"}]}),
    Row("unreadable", True, {"spots": [{"number": 100, "kicks": "1", "seconds": "10"}]}),
    Row("unreadable", False, {"started_at": "23:59", "ended_at": ""}),
    Row("unreadable", True, {"started_at": "24:00"}),
    Row("unknown_taxon", True, one("Unicornidae", count="1")),
    Row("unknown_taxon", False, one("Baetis", count="1")),
    Row("count_at_odds", True, one("Baetidae", count="9", range="10-99")),
    Row("count_at_odds", False, one("Baetidae", count="10", range="10-99")),
    Row("count_at_odds", False, one("Baetidae", count="99", range="10-99")),
    Row("count_at_odds", True, one("Baetidae", count="100", range="10-99")),
    Row("count_at_odds", True, one("Baetidae", count="0", range="1-9")),
    Row("count_at_odds", False, one("Baetidae", count="5000", range="1000+")),
    Row("unknown_quantity", True, read(salinity="3")),
    Row("unknown_quantity", False, read(turbidity="3")),
    Row("unknown_unit", True, {"measurements": {"nitrate": {"value": "3", "unit": "mg/L P"}}}),
    Row("unknown_unit", False, {"measurements": {"nitrate": {"value": "3", "unit": "mg/l N"}}}),
)
