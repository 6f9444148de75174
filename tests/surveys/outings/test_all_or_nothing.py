"""Each service around a visit writes everything or nothing; the clock of safe returns is really wound up."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.utils import timezone

from portal.audit.models import AuditEntry
from portal.celery import app
from portal.outbox.models import Message
from surveys.models import (
    Kit,
    KitCleaning,
    OutingRules,
    ReturnEvent,
    ReturnNotice,
    RiverReport,
    SafeReturn,
)
from surveys.services.kits import clean_kit, save_kit
from surveys.services.outings import edit_outing_rules
from surveys.services.return_watch import take_steps, watch_returns
from surveys.services.rivers import lift_river_report, report_river
from surveys.services.safe_returns import end_safe_return, extend_safe_return
from surveys.tasks import watch_safe_returns
from tests.conftest import Cast
from tests.surveys.outings.returning import begin_return

pytestmark = pytest.mark.django_db
MODELS = (
    Kit,
    KitCleaning,
    OutingRules,
    ReturnEvent,
    ReturnNotice,
    RiverReport,
    SafeReturn,
    AuditEntry,
    Message,
)
Call = Callable[[Cast], Any]


class PowerCut(Exception):
    """What no code expects."""


def cut_power(*_args: Any, **_kwargs: Any) -> None:
    raise PowerCut


def rows(cast: Cast) -> dict[str, list[dict[str, Any]]]:
    found: dict[str, Any] = {model.__name__: model.objects.of_group(cast.group) for model in MODELS}
    return {name: list(each.order_by("pk").values()) for name, each in found.items()}


def first_kit(cast: Cast) -> Kit:
    return Kit.objects.of_group(cast.group).first() or save_kit(
        person=cast.person("coordinator"), group=cast.group, kit=None, name="Red bag"
    )


def running(cast: Cast) -> SafeReturn:
    found = SafeReturn.objects.of_group(cast.group).select_related("group", "site", "started_by", "partner")
    return found.first() or begin_return(cast)


def overdue(cast: Cast) -> SafeReturn:
    begun = running(cast)
    begun.expected_at = timezone.now() - timedelta(minutes=50)
    return begun


def prepare_river(cast: Cast) -> None:
    report_river(person=cast.person("volunteer"), site=cast.site, too_high=True)


def lift(cast: Cast) -> Any:
    return lift_river_report(person=cast.person("volunteer"), site=cast.site)


def rename(cast: Cast) -> Any:
    return save_kit(person=cast.person("coordinator"), group=cast.group, kit=first_kit(cast), name="Blue bag")


def clean(cast: Cast) -> Any:
    return clean_kit(person=cast.person("volunteer"), kit=first_kit(cast), method="dried")


def edit(cast: Cast) -> Any:
    return edit_outing_rules(person=cast.person("coordinator"), group=cast.group, fields={"drying_days": 3})


def extend(cast: Cast) -> Any:
    return extend_safe_return(safe_return=running(cast), person=cast.person("volunteer"))


def end(cast: Cast) -> Any:
    return end_safe_return(safe_return=running(cast), person=cast.person("volunteer"))


def step_on(cast: Cast) -> Any:
    from django.db import transaction

    with transaction.atomic():
        take_steps(overdue(cast), timezone.now())


STEPS: tuple[tuple[str, Call, Call], ...] = (
    ("outings.record_change", edit, lambda _cast: None),
    ("kits.record_change", rename, first_kit),
    ("kits.record_change", clean, first_kit),
    ("rivers.record_change", prepare_river, lambda _cast: None),
    ("rivers.record_change", lift, prepare_river),
    ("safe_returns.record_change", begin_return, lambda _cast: None),
    ("safe_returns.tell_pair", begin_return, lambda _cast: None),
    ("safe_returns.tell_named_at_start", begin_return, lambda _cast: None),
    ("safe_returns.record_change", extend, running),
    ("safe_returns.tell_extended", extend, running),
    ("safe_returns.record_change", end, running),
    ("safe_returns.tell_ended", end, running),
    ("return_watch.tell_overdue", step_on, running),
    ("return_watch.add_event", step_on, running),
    ("return_watch.record_change", step_on, running),
)


@pytest.mark.parametrize(("step", "call", "prepare"), STEPS, ids=lambda each: getattr(each, "__name__", each))
def test_whatever_step_fails_the_record_stands_as_it_stood(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, step: str, call: Call, prepare: Call
) -> None:
    prepare(cast)
    before = rows(cast)
    with monkeypatch.context() as cutting:
        cutting.setattr(f"surveys.services.{step}", cut_power)
        with pytest.raises(PowerCut):
            call(cast)
    assert rows(cast) == before
    call(cast)
    assert rows(cast) != before, "with the power on it does something"


def test_the_scheduler_sweeps_at_least_every_minute() -> None:
    (entry,) = [
        each for each in settings.CELERY_BEAT_SCHEDULE.values() if each["task"] == watch_safe_returns.name
    ]
    assert float(str(entry["schedule"])) <= 60
    assert watch_safe_returns.name in app.tasks


def test_the_task_does_what_the_clock_asks(cast: Cast) -> None:
    begun = begin_return(cast)
    past = timezone.now() - timedelta(minutes=1)
    SafeReturn.objects.of_group(cast.group).filter(pk=begun.pk).update(
        started_at=past - timedelta(hours=1), expected_at=past, next_step_at=past
    )
    assert watch_safe_returns() == 1
    assert watch_returns() == 0
