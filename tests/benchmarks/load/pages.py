"""Pages with people's work against one view with one query."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

import numpy as np
from django.conf import settings
from django.test import Client
from django.urls import reverse

from portal.accounts.models import Group, Membership
from surveys.models import Site, Visit
from surveys.services.drafts import save_draft
from tests.benchmarks.load.clients import Address, at_once, in_turn
from tests.benchmarks.load.serving import BARE, PORTAL, memory_of, serving, work_of
from tests.factories import data_for, person_for
from tests.second_factor import mark

ROUNDS, WARM_UP = int(os.environ.get("BENCH_ROUNDS", "60")), 12
CLIENTS, TURNS, AT_ONCE = 8, 5, int(os.environ.get("BENCH_AT_ONCE", "400"))
LASTING = int(os.environ.get("BENCH_LASTING", "10000"))


@dataclass(frozen=True)
class Servers:
    """Both servers with what is asked of them."""

    bare: Address
    bare_process: int
    pages: dict[str, Address]
    first_process: int


@contextmanager
def both_servers() -> Iterator[Servers]:
    paths = page_paths()
    with serving(BARE) as (bare, bare_pid), serving(PORTAL) as (port, pid):
        pages = {name: Address(port, path, cookie) for name, (path, cookie) in paths.items()}
        slug = paths["public group page"][0].strip("/").split("/")[-1]
        yield Servers(Address(bare, f"/{slug}/"), bare_pid, pages, pid)


def page_paths() -> dict[str, tuple[str, str]]:
    """Path and sign-in of each page, in a group that nothing else of a benchmark writes to."""
    groups = list(Group.objects.filter(is_public=True).order_by("slug"))
    group = groups[len(groups) // 3]
    site = Site.objects.of_group(group).order_by("code")[0]
    waiting = Visit.objects.of_group(group).filter(status="waiting").first()
    waiting = waiting or Visit.objects.of_group(group)[0]
    coordinator, volunteer = (_member(group, role) for role in ("coordinator", "volunteer"))
    draft = uuid4()
    person = person_for(volunteer.user)
    save_draft(person=person, site=site, number=draft, data=data_for(site, id=str(draft)))
    signed_in = {each.role: _cookie(each) for each in (coordinator, volunteer)}
    named = {
        "desk": ("group_desk", [], "coordinator"),
        "site": ("site_detail", [site.pk], "coordinator"),
        "visit form": ("visit_submit", [draft], "volunteer"),
        "review": ("visit_review", [waiting.pk], "coordinator"),
        "public group page": ("public_group", [], ""),
        "API list": ("api_visits", [], "coordinator"),
    }
    return {
        name: (reverse(view, args=[group.slug, *more]), signed_in.get(role, ""))
        for name, (view, more, role) in named.items()
    }


def _member(group: Group, role: str) -> Membership:
    return Membership.objects.of_group(group).filter(role=role).select_related("user").order_by("joined_at")[0]


def _cookie(member: Membership) -> str:
    client = Client()
    client.force_login(member.user)
    # Coordinators sign in with a second factor.
    session: Any = client.session
    mark(session, member.user)
    session.save()
    return f"{settings.SESSION_COOKIE_NAME}={client.cookies[settings.SESSION_COOKIE_NAME].value}"


def one_by_one(servers: Servers) -> dict[str, Any]:
    """Median times of each page and of the bare one, ms, asked for in turn by one client."""
    addresses = [servers.bare, *servers.pages.values()]
    in_turn(addresses, WARM_UP)
    times = in_turn(addresses, ROUNDS)
    return {name: _ms(np.median(took)) for name, took in zip(["bare", *servers.pages], times, strict=True)}


def crowded(servers: Servers) -> dict[str, Any]:
    """Each page asked for by eight clients at once: how long it takes them, and what it costs."""
    bare = _in_a_crowd(servers.bare, servers.bare_process)
    pages = {name: _in_a_crowd(each, servers.first_process) for name, each in servers.pages.items()}
    return {"bare": bare, **pages}


def _in_a_crowd(address: Address, first_process: int) -> dict[str, float]:
    """Mean and percentiles of the times, and the processor time of web server and database for each; ms.

    In several turns with lines of their own: a client keeps its line, and with it the process that took it, so
    one turn alone would tell of the luck of the draw. With nothing but work, each would take
    clients / processors times what it costs; what is above is waiting that the work does not explain.
    """
    at_once(address, CLIENTS, CLIENTS * WARM_UP)
    before = work_of(first_process)
    times = [took for _turn in range(TURNS) for took in at_once(address, CLIENTS, AT_ONCE // TURNS)]
    spent = sum(now - before.get(pid, 0.0) for pid, now in work_of(first_process).items())
    found = {f"p{share}": _ms(np.percentile(times, share)) for share in (50, 95, 99)}
    return {"mean": _ms(np.mean(times)), **found, "work": _ms(spent / len(times))}


def lasting(servers: Servers) -> dict[str, Any]:
    """Own memory of the web workers, MiB: at work, and after many requests more."""
    pages = list(servers.pages.values())
    per_page = LASTING // len(pages)
    for each in pages:
        at_once(each, CLIENTS, AT_ONCE)
    before = memory_of(servers.first_process)
    for each in pages:
        at_once(each, CLIENTS, per_page)
    return {"before": before, "after": memory_of(servers.first_process), "requests": per_page * len(pages)}


def _ms(seconds: Any) -> float:
    return round(float(seconds) * 1000, 2)
