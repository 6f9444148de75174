"""Keys of programs: made once shown, limited by scope and by the person's own rights, ended at once."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from portal.audit.models import AuditEntry
from portal.tokens.models import ApiKey, Scope
from portal.tokens.services import MOST_KEYS, TooManyKeys, make_key, revoke_key
from tests.conftest import Cast
from tests.surveys.pages import signed_in, text_of

pytestmark = pytest.mark.django_db
SITES = "/api/v1/groups/alder-beck/sites/"


def key_of(cast: Cast, *scopes: str, who: str = "volunteer") -> str:
    return make_key(
        person=cast.person(who), name="Script", scopes=scopes, days=30, with_second_factor=True
    ).text


def ask(text: str, address: str = SITES, method: str = "get", **sent: Any) -> Any:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
    return getattr(client, method)(address, **sent)


class TestUse:
    def test_a_key_opens_what_its_scope_names(self, cast: Cast) -> None:
        assert ask(key_of(cast, Scope.READ_SITES)).status_code == 200

    def test_another_scope_is_named_in_the_refusal(self, cast: Cast) -> None:
        answer = ask(key_of(cast, Scope.READ_VISITS))
        assert answer.status_code == 403
        assert answer.json()["problems"][0]["rule"] == "scope_missing"
        assert "read:sites" in answer.json()["detail"]

    def test_a_key_never_reaches_further_than_its_person(self, cast: Cast) -> None:
        assert ask(key_of(cast, *Scope.values, who="neighbour_volunteer")).status_code == 404

    def test_it_needs_no_token_against_forged_requests(self, cast: Cast) -> None:
        address = "/api/v1/groups/alder-beck/visits/00000000-0000-4000-8000-000000000000/"
        answer = ask(key_of(cast, Scope.WRITE_VISITS), address, "put", data={}, format="json")
        assert answer.status_code == 422

    @pytest.mark.parametrize("text", ["", "rfb_unknown", "rfb_\u00e9"])
    def test_a_key_that_nobody_made_is_refused(self, cast: Cast, text: str) -> None:
        answer = ask(text)
        assert answer.status_code == 401
        assert answer["WWW-Authenticate"].startswith("Bearer")
        assert answer["Content-Type"] == "application/problem+json"

    def test_it_opens_nothing_once_it_ran_out_or_its_person_is_gone(self, cast: Cast) -> None:
        text = key_of(cast, Scope.READ_SITES)
        ApiKey.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
        assert ask(text).status_code == 401
        ApiKey.objects.update(expires_at=timezone.now() + timedelta(days=1))
        cast.volunteer.is_active = False
        cast.volunteer.save()
        assert ask(text).status_code == 401

    def test_its_last_use_is_noted(self, cast: Cast) -> None:
        ask(key_of(cast, Scope.READ_SITES))
        assert ApiKey.objects.get().last_used_at


class TestMaking:
    def test_its_text_is_kept_nowhere(self, cast: Cast) -> None:
        text = key_of(cast, Scope.READ_SITES)
        row = ApiKey.objects.values().get()
        assert text not in str(row)
        assert text not in str(list(AuditEntry.objects.across_groups("test").values()))

    def test_one_person_has_only_so_many(self, cast: Cast) -> None:
        for _each in range(MOST_KEYS):
            key_of(cast, Scope.READ_SITES)
        with pytest.raises(TooManyKeys):
            key_of(cast, Scope.READ_SITES)

    def test_a_revoked_key_opens_nothing_any_more(self, cast: Cast) -> None:
        text = key_of(cast, Scope.READ_SITES)
        revoke_key(person=cast.person("volunteer"), key=ApiKey.objects.get())
        assert ask(text).status_code == 401
        verbs = AuditEntry.objects.across_groups("test").filter(object_type="tokens.apikey")
        assert list(verbs.values_list("verb", flat=True)) == ["api_key.made", "api_key.revoked"]

    def test_nobody_ends_the_key_of_another(self, cast: Cast) -> None:
        key_of(cast, Scope.READ_SITES)
        with pytest.raises(PermissionDenied):
            revoke_key(person=cast.person("coordinator"), key=ApiKey.objects.get())


class TestPage:
    def test_a_new_key_is_shown_on_the_answer_and_never_again(self, cast: Cast) -> None:
        client = signed_in(cast.volunteer)
        made = client.post(reverse("key_list"), {"name": "Script", "scopes": ["read:sites"], "days": "30"})
        text = made.context["made"].text
        assert text in text_of(made)
        assert "no-store" in made["Cache-Control"]
        assert text not in text_of(client.get(reverse("key_list")))

    def test_a_key_without_a_purpose_is_refused_at_its_fields(self, cast: Cast) -> None:
        answer = signed_in(cast.volunteer).post(reverse("key_list"), {"name": "", "days": "7"})
        assert answer.status_code == 422
        assert set(answer.context["form"].errors) == {"name", "scopes", "days"}

    def test_it_lists_ones_own_keys_and_ends_them(self, cast: Cast) -> None:
        key_of(cast, Scope.READ_SITES)
        key = ApiKey.objects.get()
        assert "Script" not in text_of(signed_in(cast.coordinator).get(reverse("key_list")))
        ended = signed_in(cast.volunteer).post(reverse("key_revoke", args=[key.pk]), follow=True)
        assert "opens nothing any more" in text_of(ended)
        key.refresh_from_db()
        assert not key.is_valid
