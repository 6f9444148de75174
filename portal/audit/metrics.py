"""How far the audit trail is sealed, for a monitor: the head it keeps is a witness outside the database."""

from __future__ import annotations

from collections.abc import Iterable

from prometheus_client.core import GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.registry import Collector

from portal.audit.sealing import head, unsealed


class TrailCollector(Collector):
    """Reads the figures from the database at each scrape (two queries)."""

    def collect(self) -> Iterable[Metric]:
        """The chain's end, how much waits to be sealed and for how long."""
        end, waiting = head(), unsealed()
        yield GaugeMetricFamily("rifflebook_trail_links", "Links of the audit trail's chain", value=end.number)
        yield InfoMetricFamily(
            "rifflebook_trail_head", "Where the chain ends", value={"number": str(end.number), "seal": end.seal}
        )
        yield GaugeMetricFamily("rifflebook_trail_unsealed", "Rows that wait for a seal", value=waiting.rows)
        yield GaugeMetricFamily(
            "rifflebook_trail_unsealed_seconds", "How long the oldest of them has waited", value=waiting.seconds
        )
