"""Incidents and triggers, for programs."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.generics import ListAPIView
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.api.verdicts import TriggerSerializer
from alerts.models import Incident
from alerts.queries import incidents_of, trigger_in_force
from alerts.services.incidents import acknowledge_incident, add_note
from portal.accounts.access import require
from portal.tokens.answers import once
from portal.tokens.models import Scope
from surveys.api.base import PortalView, refusals
from surveys.api.review import ONCE
from surveys.models import Site


class IncidentSerializer(serializers.ModelSerializer[Incident]):
    """One fall at one site: its state, who acknowledged it, and what came of it."""

    class Meta:
        model = Incident
        fields = [
            "id",
            "site",
            "year",
            "number",
            "state",
            "opened_at",
            "acknowledged_at",
            "acknowledged_by",
            "investigated_at",
            "agency_reference",
            "outcome",
            "outcome_note",
            "closed_at",
        ]


class NoteSerializer(serializers.Serializer[Any]):
    """What is known now, or the agency's reference."""

    note = serializers.CharField(max_length=5000, required=False, allow_blank=True, default="")
    reference = serializers.CharField(max_length=80, required=False, allow_blank=True, default="")


class NewestIncidents(CursorPagination):
    """Incidents, newest first; `limit` says how many on a page."""

    ordering = ("-opened_at", "id")
    page_size = 50
    page_size_query_param = "limit"
    max_page_size = 200


@extend_schema_view(
    get=extend_schema(
        operation_id="incidents_list",
        summary="The incidents of a group, newest first",
        responses={200: IncidentSerializer(many=True), **refusals()},
    )
)
class ApiIncidents(PortalView, ListAPIView[Incident]):
    """The incidents of a group."""

    scopes = MappingProxyType({"GET": Scope.READ_INCIDENTS})
    serializer_class = IncidentSerializer
    pagination_class = NewestIncidents
    queryset = Incident.objects.none()

    def get_queryset(self) -> QuerySet[Incident]:
        return incidents_of(self.group)


class IncidentView(PortalView):
    """One incident of the group."""

    def incident(self, incident_id: UUID, action: str) -> Incident:
        """The incident, if the person may do `action`."""
        incident = get_object_or_404(incidents_of(self.group).select_related("group"), id=incident_id)
        require(self.person, action, incident)
        return incident


class ApiIncident(IncidentView):
    """Read one incident."""

    scopes = MappingProxyType({"GET": Scope.READ_INCIDENTS})

    @extend_schema(
        operation_id="incidents_retrieve",
        summary="One incident",
        responses={200: IncidentSerializer, **refusals()},
    )
    def get(self, _request: Request, incident_id: UUID, **_address: str) -> Response:
        return Response(IncidentSerializer(self.incident(incident_id, "incident.view")).data)


ANSWERS = {
    200: OpenApiResponse(IncidentSerializer, description="The incident as it is now."),
    **refusals(409, 422),
}


class ApiIncidentAcknowledge(IncidentView):
    """Acknowledge one."""

    scopes = MappingProxyType({"POST": Scope.WRITE_INCIDENTS})

    @extend_schema(
        operation_id="incidents_acknowledge",
        summary="Acknowledge an incident; asked twice, the first answer stands",
        request=None,
        responses=ANSWERS,
        parameters=[ONCE],
    )
    @once
    def post(self, _request: Request, incident_id: UUID, **_address: str) -> Response:
        incident = self.incident(incident_id, "incident.acknowledge")
        done = acknowledge_incident(incident=incident, person=self.person)
        return Response(IncidentSerializer(done).data)


class ApiIncidentNote(IncidentView):
    """Add a note to one."""

    scopes = MappingProxyType({"POST": Scope.WRITE_INCIDENTS})

    @extend_schema(
        operation_id="incidents_note",
        summary="Add a note to an incident",
        request=NoteSerializer,
        responses=ANSWERS,
        parameters=[ONCE],
        examples=[OpenApiExample("A reference", {"reference": "2026/117"}, request_only=True)],
    )
    @once
    def post(self, _request: Request, incident_id: UUID, **_address: str) -> Response:
        incident = self.incident(incident_id, "incident.note")
        done = add_note(incident=incident, person=self.person, **self.sent(NoteSerializer))
        return Response(IncidentSerializer(done).data)


class ApiSiteTrigger(PortalView):
    """The trigger in force at a site."""

    scopes = MappingProxyType({"GET": Scope.READ_SITES})

    @extend_schema(
        operation_id="triggers_retrieve",
        summary="The level in force at a site today; 404 where none is",
        responses={200: TriggerSerializer, **refusals()},
    )
    def get(self, _request: Request, site_id: UUID, **_address: str) -> Response:
        site = get_object_or_404(Site.objects.of_group(self.group).select_related("group"), id=site_id)
        trigger = trigger_in_force(site, timezone.localdate())
        if trigger is None:
            raise Http404
        return Response(TriggerSerializer(trigger).data)
