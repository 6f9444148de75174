"""Long work in the world of the access tests."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.files.base import ContentFile

from portal.jobs.models import Job
from tests.conftest import Cast

if TYPE_CHECKING:
    from tests.access.world import World


def add_jobs(world: World, cast: Cast) -> None:
    """A job that waits, and one that left a file."""
    common = {"group": cast.group, "kind": "rescoring", "started_by": cast.second_coordinator}
    waiting = Job.objects.create(**common, label="Scoring anew")
    done = Job.objects.create(
        **common, label="Sites", state="done", file=ContentFile(b"a", name="a.csv"), file_name="a.csv"
    )
    world.values["job_id"] = waiting.id
    world.special |= {name: {"job_id": done.id} for name in ("job_file", "api_job_file")}
