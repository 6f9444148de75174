"""One's own places on the rota by program: which they are, yes, no."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any
from uuid import UUID

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from portal.accounts.access import require
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.tokens.answers import once
from portal.tokens.models import Scope
from surveys.api.base import PortalView, refusals
from surveys.api.review import ONCE
from surveys.rota.models import LIVE, Assignment, PlannedVisit
from surveys.rota.services.answers import accept_place, decline_place

PUBLISHED = PlannedVisit.State.PUBLISHED


class PlaceSerializer(serializers.ModelSerializer[Assignment]):
    """One place of yours: the site and day, and your answer so far. Who else goes stands on the page."""

    site = serializers.UUIDField(source="planned.site_id")
    site_code = serializers.CharField(source="planned.site.code")
    people_needed = serializers.IntegerField(source="planned.people_needed")

    class Meta:
        model = Assignment
        fields = ["id", "planned", "site", "site_code", "day", "people_needed", "state", "answered_at"]


class PlaceView(PortalView):
    """What listing and answering share."""

    entry = "rota.view"

    def places(self) -> GroupOwnedQuerySet[Assignment]:
        """The places of the group on published visits."""
        rows = Assignment.objects.of_group(self.group).filter(planned__state=PUBLISHED)
        return rows.select_related("user", "planned__site", "planned__group")

    def place(self, place_id: UUID) -> Assignment:
        """The place of that number, if it is the person's own to answer for."""
        place = get_object_or_404(self.places(), id=place_id)
        require(self.person, "rota.answer", place)
        return place


class ApiPlaces(PlaceView):
    """One's own places."""

    scopes = MappingProxyType({"GET": Scope.ROTA})

    @extend_schema(
        operation_id="places_list",
        summary="Your own places on the rota from today on, the soonest first",
        responses={200: PlaceSerializer(many=True), **refusals()},
    )
    def get(self, _request: Request, **_address: str) -> Response:
        own = self.places().filter(user=self.person.user_id, state__in=LIVE, day__gte=timezone.localdate())
        return Response(PlaceSerializer(own.order_by("day"), many=True).data)


ANSWERS: Any = {200: OpenApiResponse(PlaceSerializer, description="The place as it is now."), **refusals(409)}


class ApiPlaceAccept(PlaceView):
    """Yes."""

    scopes = MappingProxyType({"POST": Scope.ROTA})

    @extend_schema(
        operation_id="places_accept",
        summary="Say that you are coming",
        request=None,
        responses=ANSWERS,
        parameters=[ONCE],
    )
    @once
    def post(self, _request: Request, place_id: UUID, **_address: str) -> Response:
        done = accept_place(person=self.person, place=self.place(place_id))
        return Response(PlaceSerializer(done).data)


class ApiPlaceDecline(PlaceView):
    """No."""

    scopes = MappingProxyType({"POST": Scope.ROTA})

    @extend_schema(
        operation_id="places_decline",
        summary="Say that you cannot; others are asked at once",
        request=None,
        responses=ANSWERS,
        parameters=[ONCE],
    )
    @once
    def post(self, _request: Request, place_id: UUID, **_address: str) -> Response:
        done = decline_place(person=self.person, place=self.place(place_id))
        return Response(PlaceSerializer(done).data)
