"""No junk makes a fault: a few inputs to every address here, ten thousand and more with `make fuzz`."""

from __future__ import annotations

import logging
import os
from typing import Any

import pytest

from tests.access import scene
from tests.access.fuzzing.engine import Known, Tally, Target, fuzz, targets, what_is_known
from tests.access.fuzzing.forms import read_page
from tests.access.table import TABLE
from tests.access.table_accounts import ACCOUNT_TABLE
from tests.access.world import World
from tests.chance import drawn
from tests.conftest import Cast

once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world
INPUTS, SEED = int(os.environ.get("INPUTS", "10000")), int(os.environ.get("SEED", "1"))


def test_it_knows_every_address_that_takes_something() -> None:
    taking = {name for table in (TABLE, ACCOUNT_TABLE) for name in table if {*table[name]} - {"options"}}
    assert {each.name for each in targets()} == taking


def test_it_reads_a_form_as_a_browser_would_send_it() -> None:
    page = """<form action="?a=1" method="post"><input name="site" value="AB1"><input type="date" name="day">
      <input type="radio" name="r" value="1"><input type="radio" name="r" value="2" checked>
      <select name="s"><option value="x">X<option value="y" selected>Y</select><textarea name="t">Hm</textarea>
      <input type="file" name="photo"><button name="keep" value="1">Keep</button></form>
      <a href="/?page=2">2</a>"""
    reader = read_page("/methods/", page)
    (form,) = reader.forms
    assert form.target == "methods"
    assert form.pairs == [("site", "AB1"), ("day", "2026-11-20"), ("r", "2"), ("s", "y"), ("t", "Hm")]
    assert form.options == {"r": ["1", "2"], "s": ["x", "y"]}
    assert (form.files, form.buttons) == (["photo"], [("keep", "1")])
    assert reader.queries == {("home", "page")}


def test_a_fault_is_told_by_where_it_arose(cast: Cast, world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("portal.accounts.views.people_of", lambda _group: 1 / 0)
    known = Known(world, {}, {}, {}, {}, ["withy-brook"])
    tally = fuzz(known, [Target("people_list", "get", "coordinator")], 3, SEED)
    assert any("get people_list: ZeroDivisionError at test_fuzzing.py" in each for each in tally.faults)


def test_no_junk_makes_a_fault(cast: Cast, world: World, record_property: Any) -> None:
    """A third each day of what takes something and of pages that read a query.

    The first of two inputs is as a browser sends it.
    """
    known = what_is_known(cast, world)
    reading = {*known.queries, *known.asked}
    taking = [each for each in targets() if each.method != "get" or each.name in reading]
    tally = fuzz(known, drawn(taking, len(taking) // 3, "junk"), 2, SEED)
    record_property("counted inputs of the short fuzz", sum(tally.answers.values()))
    assert_sound(tally)


def fuzz_all_addresses(cast: Cast, world: World) -> None:
    """`make fuzz`."""
    # A line for each of thousands of refusals would hide the figures.
    logging.disable(logging.CRITICAL)
    every = targets()
    known = what_is_known(cast, world)
    tally = fuzz(known, every, -(-INPUTS // len(every)), SEED)
    print(f"\n{tally.told()}\n{len(known.posted)} forms read from pages; SEED={SEED}")
    for where, sent in tally.faults.items():
        print(f"- {where}\n    {sent}")
    assert_sound(tally)


def assert_sound(tally: Tally) -> None:
    assert tally.faults == {}
    assert {200, 302, 404} <= set(tally.answers), "answers of every kind, or the inputs reach nothing"
