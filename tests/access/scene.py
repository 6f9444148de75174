"""The cast and its world as fixtures: built once for a module, a copy for each test.

A module takes them by name: `once, cast, world = scene.once, scene.cast, scene.world`.
"""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass

import pytest
from django.utils import timezone

from portal.outbox.heartbeats import PARTS, note_alive
from portal.outbox.models import Message
from tests.access.world import World, build_world
from tests.conftest import Cast, make_cast
from tests.lasting import built_once


@dataclass(frozen=True)
class Scene:
    """Both together, so that a copy keeps what they share."""

    cast: Cast
    world: World


def build_scene() -> Scene:
    cast = make_cast()
    return Scene(cast, build_world(cast))


once = built_once(build_scene)


@pytest.fixture
def own_scene(once: Scene, db: None) -> Scene:
    """A copy for one test, at whose beginning the world has only just been built."""
    for part in PARTS:
        note_alive(part)
    Message.objects.across_groups("none of them is late").update(created_at=timezone.now())
    return deepcopy(once)


@pytest.fixture
def cast(own_scene: Scene) -> Cast:
    return own_scene.cast


@pytest.fixture
def world(own_scene: Scene) -> World:
    return own_scene.world
