"""Kinds of work that only tests know."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.conf import LazySettings

from portal.jobs import kinds
from portal.jobs.kinds import Handler, job_kind
from portal.jobs.models import Job
from portal.jobs.services import request_job
from tests.conftest import Cast

Register = Callable[[Handler], None]


@pytest.fixture
def register(monkeypatch: pytest.MonkeyPatch) -> Register:
    """Make a handler do the kind "test"."""
    monkeypatch.setattr(kinds, "_KINDS", dict(kinds._KINDS))

    def add(handler: Handler) -> None:
        job_kind("test", label="Test work")(handler)

    return add


@pytest.fixture
def job(cast: Cast) -> Job:
    return request_job(
        person=cast.person("coordinator"),
        group=cast.group,
        kind="test",
        parameters={"rows": 3},
        label="Three rows",
        key="test",
    )


@pytest.fixture(autouse=True)
def _own_files(settings: LazySettings, tmp_path_factory: pytest.TempPathFactory) -> None:
    settings.MEDIA_ROOT = tmp_path_factory.mktemp("media")


def again(job: Job) -> Job:
    """The row as it is now."""
    return Job.objects.of_group(job.group).get(pk=job.pk)
