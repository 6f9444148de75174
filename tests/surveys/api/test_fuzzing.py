"""Junk sent by programs: every refusal is problem details with words at a field, never a fault of ours."""

from __future__ import annotations

import json
from typing import Any
from uuid import uuid4

from django.core.cache import cache
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st
from rest_framework.test import APIClient

from surveys.rules import RULES
from surveys.submission.serializers import EntrySerializer, SpotSerializer, SubmissionSerializer
from tests.conftest import Cast
from tests.factories import data_for
from tests.surveys.api.conftest import address
from tests.surveys.test_fuzzing import TEXTS, fuzz

KNOWN_RULES = {rule.id for rule in RULES}
# Programs can send what no page can: half a surrogate pair, huge numbers, nesting, wrong types.
SCALARS = (
    st.none()
    | st.booleans()
    | st.integers(-(10**20), 10**20)
    | st.floats()
    | TEXTS
    | st.sampled_from(["\ud800", "a\udfffb"])
)
JUNK = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3), max_leaves=8
)
FIELDS = [*SubmissionSerializer().fields]
INNER = st.sampled_from([*SpotSerializer().fields, *EntrySerializer().fields])
ROWS = st.lists(st.dictionaries(INNER, JUNK, max_size=5), max_size=4)
KEYS = st.sampled_from(["ph", "nitrate", "salinity", "\ud800", "", "a.b"]) | TEXTS
READINGS = st.dictionaries(
    KEYS, st.dictionaries(st.sampled_from(["value", "unit"]), JUNK, max_size=2), max_size=3
)
CHANGES = st.dictionaries(st.sampled_from(FIELDS), JUNK | ROWS | READINGS, min_size=1, max_size=3)


def send(cast: Cast, body: Any, kind: str = "application/json") -> Any:
    """Put the body as a volunteer, and take back what it changed."""
    client = APIClient()
    client.force_login(cast.volunteer)
    cache.clear()
    with transaction.atomic():
        answer = client.generic("PUT", address("visits", uuid4()), body, content_type=kind)
        transaction.set_rollback(True)
    return answer


def assert_told(answer: Any) -> None:
    """Taken, or refused in the one shape of refusals, which says where and by which rule."""
    assert answer.status_code in (201, 400, 415, 422)
    if answer.status_code == 201:
        return
    assert answer["Content-Type"] == "application/problem+json"
    told = answer.json()
    assert told["status"] == answer.status_code
    assert told["detail"]
    for problem in told["problems"]:
        assert problem["field"]
        assert problem["message"]
        assert problem["rule"] in KNOWN_RULES
    if answer.status_code == 422:
        assert told["problems"]


@fuzz(250)
@given(changes=CHANGES)
def test_a_visit_with_junk_in_it_is_refused_at_its_field(cast: Cast, changes: dict[str, Any]) -> None:
    data = data_for(cast.site) | changes
    if "id" not in changes:
        del data["id"]
    assert_told(send(cast, json.dumps(data).encode()))


@fuzz(80)
@given(body=JUNK.map(lambda junk: json.dumps(junk).encode()) | st.binary(max_size=60))
def test_any_other_body_is_refused_in_the_same_shape(cast: Cast, body: bytes) -> None:
    answer = send(cast, body)
    assert answer.status_code != 201
    assert_told(answer)


@fuzz(30)
@given(
    kind=st.sampled_from(["text/plain", "application/xml", "multipart/form-data", "x", ""]), body=st.binary()
)
def test_any_other_kind_of_body_is_refused_in_the_same_shape(cast: Cast, kind: str, body: bytes) -> None:
    assert_told(send(cast, body, kind))


@fuzz(60)
@given(
    asked=st.dictionaries(
        st.sampled_from(["site", "status", "was_made", "since", "until", "page", "cursor", "limit"]), TEXTS
    )
)
def test_any_filter_is_taken_or_refused_in_the_same_shape(cast: Cast, asked: dict[str, str]) -> None:
    client = APIClient()
    client.force_login(cast.volunteer)
    cache.clear()
    answer = client.get(address("visits"), asked)
    assert answer.status_code in (200, 400, 404)
    if answer.status_code != 200:
        assert answer["Content-Type"] == "application/problem+json"
        assert answer.json()["detail"]
