"""Pages for those whom no view answers: they say what happened and lead on."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from portal.views.faults import nearest_page
from surveys.models import Visit
from tests.conftest import Cast
from tests.factories import submit
from tests.surveys.pages import address, signed_in, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(cast: Cast) -> Visit:
    return submit(cast.person("volunteer"), cast.site)


def test_the_address_of_a_form_leads_back_to_its_page(cast: Cast, visit: Visit) -> None:
    """Who must sign in while sending a form is led to its address, which takes nothing by GET."""
    answer = signed_in(cast.coordinator).get(address("visit_return", cast.group, visit_id=visit.pk))
    assert (answer.status_code, answer["Allow"]) == (405, "POST")
    assert "Nothing was sent" in text_of(answer)
    back = address("visit_detail", cast.group, visit_id=visit.pk)
    assert f'href="{back}"' in answer.content.decode()


def test_programs_and_other_methods_get_no_page(cast: Cast, visit: Visit) -> None:
    here = address("visit_return", cast.group, visit_id=visit.pk)
    assert signed_in(cast.coordinator).put(here).content == b""
    listed = Client().get(reverse("api_visit_approve", args=[cast.group.slug, visit.pk]))
    assert "text/html" not in listed["Content-Type"]


@pytest.mark.parametrize(
    ("path", "page"),
    [("/account/language/", "/"), ("/nowhere/at/all/", "/"), ("/bank/key/step/", "/bank/key/")],
)
def test_the_nearest_page_is_one_that_there_is(path: str, page: str) -> None:
    assert nearest_page(path) == page
