"""The views: parse, call one query or one service, answer."""

from __future__ import annotations

from types import MappingProxyType
from uuid import UUID

from django.db.models import QuerySet
from django.http import QueryDict
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema, extend_schema_view
from rest_framework import status
from rest_framework.generics import ListAPIView
from rest_framework.parsers import FormParser, JSONParser
from rest_framework.request import Request
from rest_framework.response import Response

from portal.accounts.access import require
from portal.tokens.models import Scope
from surveys.api.base import PortalView, refusals
from surveys.api.paging import NewestVisits
from surveys.api.problems import number_taken
from surveys.api.queries import lists_for, visits_with_all, visits_with_told_scores
from surveys.api.sent import submission_sent
from surveys.api.serializers import (
    GroupSerializer,
    ListSerializer,
    SiteSerializer,
    VisitFilterSerializer,
    VisitSerializer,
    VisitSummarySerializer,
)
from surveys.api.sites import SiteAdding
from surveys.errors import Conflict
from surveys.models import RecordingList, Site, Visit
from surveys.models.visits import Source
from surveys.services.visits import submit_visit
from surveys.submission.serializers import SubmissionSerializer


@extend_schema_view(
    get=extend_schema(
        operation_id="groups_list",
        summary="Your groups, with your role in each",
        responses={200: GroupSerializer(many=True), **refusals()},
    )
)
class ApiGroups(PortalView):
    """The groups you belong to."""

    scopes = MappingProxyType({"GET": Scope.READ_SITES})

    def get(self, _request: Request) -> Response:
        return Response(GroupSerializer(self.person.memberships, many=True).data)


@extend_schema_view(
    get=extend_schema(
        operation_id="sites_list",
        summary="The sites of a group by code",
        responses={200: SiteSerializer(many=True), **refusals()},
    )
)
class ApiSites(SiteAdding, ListAPIView[Site]):
    """The sites of a group."""

    scopes = MappingProxyType({"GET": Scope.READ_SITES, "POST": Scope.WRITE_SITES})
    serializer_class = SiteSerializer
    # Only for the schema, which is drawn without a person: reading goes through get_queryset.
    queryset = Site.objects.none()

    def get_queryset(self) -> QuerySet[Site]:
        return Site.objects.of_group(self.group)


@extend_schema_view(
    get=extend_schema(
        operation_id="lists_list",
        summary="The recording lists that a group's sites may use",
        responses={200: ListSerializer(many=True), **refusals()},
    )
)
class ApiLists(PortalView, ListAPIView[RecordingList]):
    """Recording lists with their taxa."""

    scopes = MappingProxyType({"GET": Scope.READ_SITES})
    serializer_class = ListSerializer
    queryset = RecordingList.objects.none()

    def get_queryset(self) -> QuerySet[RecordingList]:
        return lists_for(self.group)


@extend_schema_view(
    get=extend_schema(
        operation_id="visits_list",
        summary="The visits of a group with their scores, newest first",
        parameters=[VisitFilterSerializer],
        responses={200: VisitSummarySerializer(many=True), **refusals()},
    )
)
class ApiVisits(PortalView, ListAPIView[Visit]):
    """The visits of a group."""

    scopes = MappingProxyType({"GET": Scope.READ_VISITS})
    entry = "visit.view"
    serializer_class = VisitSummarySerializer
    pagination_class = NewestVisits
    queryset = Visit.objects.none()

    def get_queryset(self) -> QuerySet[Visit]:
        # The group first: a stranger is told nothing of what a filter may be.
        found = visits_with_told_scores(self.group)
        asked = VisitFilterSerializer(data=self.request.query_params)
        asked.is_valid(raise_exception=True)
        return found.filter(asked.condition())


class ApiVisit(PortalView):
    """One visit: read it, or submit it under a number of your own making."""

    scopes = MappingProxyType({"GET": Scope.READ_VISITS, "PUT": Scope.WRITE_VISITS})
    entry = "visit.view"
    parser_classes = (JSONParser, FormParser)

    @extend_schema(
        operation_id="visits_retrieve",
        summary="A visit with its findings and scores",
        responses={200: VisitSerializer, **refusals()},
    )
    def get(self, _request: Request, number: UUID, **_address: str) -> Response:
        return Response(VisitSerializer(self._visit(number), context={"person": self.person}).data)

    @extend_schema(
        operation_id="visits_submit",
        summary="Submit a visit; sent again, it is answered with the first result",
        request={
            "application/json": SubmissionSerializer,
            "application/x-www-form-urlencoded": OpenApiTypes.OBJECT,
        },
        responses={
            201: OpenApiResponse(VisitSerializer, description="Taken."),
            200: OpenApiResponse(VisitSerializer, description="Taken before: the first result again."),
            **refusals(409, 422),
        },
        description="As JSON, or as the fields of the portal's visit form with `site` and `recording_list`.",
    )
    def put(self, request: Request, number: UUID, **_address: str) -> Response:
        # The group is looked up first: a stranger must not learn from the problems whether it exists.
        group, data = self.group, request.data
        require(self.person, "visit.submit", group)
        source = Source.FORM if isinstance(data, QueryDict) else Source.API
        submission = submission_sent(group, data, number)
        try:
            receipt = submit_visit(person=self.person, submission=submission, source=source)
        except Conflict:
            return number_taken(_("This number belongs to a visit of somebody else. Make a new one."))
        # Read back, so that a first answer and a resend's are the same to the letter.
        answer = Response(VisitSerializer(self._visit(number), context={"person": self.person}).data)
        if receipt.is_new:
            answer.status_code = status.HTTP_201_CREATED
            answer["Location"] = reverse("api_visit", args=[self.group.slug, number])
        return answer

    def _visit(self, number: UUID) -> Visit:
        return get_object_or_404(visits_with_all(self.group), id=number)
