"""How many rows of the audit trail are sealed a second, and how many links are verified: `make bench`.

The rows are invented entries, written in one statement. What is sealed at once is bounded, so that figures do
not hang on how many there are; nor does the memory, whose peak is printed.
"""

from __future__ import annotations

import os
import resource
import time

import pytest
from django.db import connection

from portal.audit.models import Link
from portal.audit.sealing import seal_waiting
from portal.audit.verifying import verify_trail
from tests.conftest import Cast

ENTRIES = int(os.environ.get("ENTRIES", "100000"))
WRITE = """
INSERT INTO audit_auditentry
    (id, group_id, at, actor_id, actor_name, verb, object_type, object_id, changes, reason, way)
SELECT gen_random_uuid(), %s, now() - n * interval '1 minute', %s, 'Vera Example', 'visit.corrected',
    'surveys.visit', gen_random_uuid(), jsonb_build_object('counts.Baetidae', jsonb_build_array(n, n + 1)),
    'Counted again in the laboratory.', 'page'
FROM generate_series(1, %s) n
"""


@pytest.mark.django_db
def bench_sealing_and_verifying(cast: Cast, capsys: pytest.CaptureFixture[str]) -> None:
    began = time.perf_counter()
    with connection.cursor() as cursor:
        cursor.execute(WRITE, [cast.group.pk, cast.volunteer.pk, ENTRIES])
    written = time.perf_counter()
    seal_waiting(at_most=3600)
    sealed = time.perf_counter()
    found = verify_trail()
    verified = time.perf_counter()
    assert found.broken is None
    assert found.links == Link.objects.count() >= ENTRIES
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    with capsys.disabled():
        print(
            f"\nAudit trail of {found.links:,} rows: written in {written - began:.1f} s, "
            f"sealed {found.links / (sealed - written):,.0f} a second, "
            f"verified {found.links / (verified - sealed):,.0f} a second, peak {peak:.0f} MiB"
        )
