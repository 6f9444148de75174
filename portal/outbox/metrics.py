"""Figures of the outbox for a monitor that collects them, in the text form that Prometheus reads."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Count, Sum
from django.utils import timezone
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from portal.accounts.walls import wide
from portal.outbox.heartbeats import seconds_since
from portal.outbox.models import Message, State
from portal.outbox.queries import oldest_owed_at


class OutboxCollector(Collector):
    """Reads the figures from the database at each scrape, so that every web process gives the same answer."""

    def collect(self) -> Iterable[Metric]:
        """Gauges of messages by state, attempts, the oldest duty, and signs of life."""
        yield from (_messages(), _attempts(), _oldest(), _alive())


@wide("figures of the whole portal")
def metrics_page(*others: Collector) -> bytes:
    """All figures in the Prometheus text format, with those of `others`. Raises DatabaseError."""
    registry = CollectorRegistry(auto_describe=False)
    for each in (OutboxCollector(), *others):
        registry.register(each)
    return generate_latest(registry)


def _messages() -> Metric:
    gauge = GaugeMetricFamily("rifflebook_messages", "E-mails in the outbox by state", labels=["state"])
    everybodys = Message.objects.across_groups("figures of the whole portal").order_by()
    found = dict(everybodys.values_list("state").annotate(number=Count("pk")))
    for state in State.values:
        gauge.add_metric([state], found.get(state, 0))
    return gauge


def _attempts() -> Metric:
    everybodys = Message.objects.across_groups("figures of the whole portal")
    tries = everybodys.filter(state=State.OWED).aggregate(tries=Sum("attempts_made"))["tries"]
    return GaugeMetricFamily(
        "rifflebook_owed_attempts", "Tries so far for messages still owed", value=tries or 0
    )


def _oldest() -> Metric:
    owed_at = oldest_owed_at()
    age = (timezone.now() - owed_at).total_seconds() if owed_at else 0.0
    return GaugeMetricFamily("rifflebook_oldest_owed_seconds", "Age of the oldest message due", value=age)


def _alive() -> Metric:
    gauge = GaugeMetricFamily(
        "rifflebook_heartbeat_age_seconds", "Time since a part was last alive", labels=["part"]
    )
    for part, age in seconds_since().items():
        if age is not None:
            gauge.add_metric([part], age)
    return gauge
