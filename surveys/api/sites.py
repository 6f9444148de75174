"""Sites by program: add one, read one, change one."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any
from uuid import UUID

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from portal.accounts.access import require
from portal.accounts.models import Group
from portal.tokens.answers import once
from portal.tokens.models import Scope
from surveys.api.base import PortalView, refusals
from surveys.api.review import ONCE
from surveys.api.serializers import SiteSerializer
from surveys.lists.recording import lists_of
from surveys.models import RecordingList, Site
from surveys.services.sites import save_site

EXAMPLE = OpenApiExample(
    "A site",
    {
        "code": "AB1",
        "name": "Stepping stones",
        "river": "Alder Beck",
        "latitude": 54.5,
        "longitude": -2.5,
        "recording_list": "5f0d5a51-3a0c-4a0e-9a57-6d0c7f2c8f11",
    },
    request_only=True,
)


class SiteSentSerializer(serializers.ModelSerializer[Site]):
    """A site as it is sent; what is left out keeps its value, or takes the usual one."""

    class Meta:
        model = Site
        exclude = ["id", "group", "created_at"]
        # Uniqueness in the group is judged by the service, which knows the group.
        validators: list[Any] = []

    def __init__(self, *args: Any, group: Group | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lists, sites = (
            (lists_of(group), Site.objects.of_group(group)) if group else (RecordingList.objects.none(),) * 2
        )
        self.fields["recording_list"].queryset = lists  # type: ignore[attr-defined]
        self.fields["downstream"].queryset = sites  # type: ignore[attr-defined]


class SiteView(PortalView):
    """What adding and changing share."""

    def save(self, site: Site | None) -> Site:
        """Take in what was sent; raises ValidationError by field."""
        require(self.person, "site.edit", self.group)
        asked = SiteSentSerializer(data=self.request.data, partial=site is not None, group=self.group)
        asked.is_valid(raise_exception=True)
        return save_site(person=self.person, group=self.group, site=site, fields=dict(asked.validated_data))


class ApiSite(SiteView):
    """One site."""

    scopes = MappingProxyType({"GET": Scope.READ_SITES, "PATCH": Scope.WRITE_SITES})

    def site(self, site_id: UUID) -> Site:
        """The site of that number in the group."""
        return get_object_or_404(Site.objects.of_group(self.group).select_related("group"), id=site_id)

    @extend_schema(
        operation_id="sites_retrieve", summary="One site", responses={200: SiteSerializer, **refusals()}
    )
    def get(self, _request: Request, site_id: UUID, **_address: str) -> Response:
        return Response(SiteSerializer(self.site(site_id)).data)

    @extend_schema(
        operation_id="sites_change",
        summary="Change a site; what is left out stays",
        request=SiteSentSerializer,
        responses={200: SiteSerializer, **refusals(422)},
        examples=[OpenApiExample("Another name", {"name": "Old mill"}, request_only=True)],
    )
    def patch(self, _request: Request, site_id: UUID, **_address: str) -> Response:
        site = self.site(site_id)
        return Response(SiteSerializer(self.save(site)).data)


class SiteAdding(SiteView):
    """Adding one, for the view of the list."""

    @extend_schema(
        operation_id="sites_create",
        summary="Add a site",
        request=SiteSentSerializer,
        responses={201: OpenApiResponse(SiteSerializer, description="Added."), **refusals(409, 422)},
        parameters=[ONCE],
        examples=[EXAMPLE],
    )
    @once
    def post(self, _request: Request, **_address: str) -> Response:
        return Response(SiteSerializer(self.save(None)).data, status=status.HTTP_201_CREATED)
