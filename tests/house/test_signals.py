"""One signal joins two floors; whoever sends it finds somebody listening."""

from __future__ import annotations

import ast

from alerts.listeners import on_visit_judged
from surveys.models import Visit
from surveys.signals import visit_judged
from tests.house.source import python_sources


def makes_signals(source: str) -> int:
    """How many signals a module makes."""
    calls = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)]
    return sum(isinstance(call.func, ast.Name) and call.func.id == "Signal" for call in calls)


def test_there_is_one_signal_and_no_other() -> None:
    makers = {name: found for name, source in python_sources() if (found := makes_signals(source))}
    assert makers == {"surveys/signals.py": 1}


def test_a_second_one_would_be_seen() -> None:
    assert makes_signals("from django.dispatch import Signal\nother = Signal()") == 1
    assert makes_signals("signal = 1") == 0


def test_alerts_listens_to_it() -> None:
    receivers = visit_judged._live_receivers(Visit)[0]
    assert on_visit_judged in receivers
