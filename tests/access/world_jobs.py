"""Long work in the world of the access tests."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.files.base import ContentFile

from portal.jobs.models import Job
from portal.privacy.downloads import KIND
from tests.conftest import Cast

if TYPE_CHECKING:
    from tests.access.world import World


def add_jobs(world: World, cast: Cast) -> None:
    """A job that waits, one that left a file, and one that made the file of what is kept of a volunteer."""
    common = {"group": cast.group, "kind": "rescoring", "started_by": cast.second_coordinator}
    waiting = Job.objects.create(**common, label="Scoring anew")
    done = Job.objects.create(
        **common, label="Sites", state="done", file=ContentFile(b"a", name="a.csv"), file_name="a.csv"
    )
    own = Job.objects.create(
        **common | {"kind": KIND, "started_by": cast.volunteer},
        label="All that is kept of me",
        state="done",
        file=ContentFile(b"a", name="a.zip"),
        file_name="a.zip",
    )
    world.special["own_data_file"] = {"job_id": own.id}
    world.values["job_id"] = waiting.id
    world.special |= {name: {"job_id": done.id} for name in ("job_file", "api_job_file")}
