"""Checking visits by program: approve, return, correct, decide a finding."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any
from uuid import UUID

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from portal.accounts.access import require
from portal.tokens.answers import HEADER, once
from portal.tokens.models import Scope
from surveys.api.base import PortalView, refusals
from surveys.api.queries import visits_with_all
from surveys.api.sent import submission_sent
from surveys.api.serializers import VisitSerializer
from surveys.models import Finding, Visit
from surveys.services.findings import decide_finding
from surveys.services.review import approve_visit, return_visit
from surveys.services.visits import correct_visit
from surveys.submission.serializers import SubmissionSerializer

ONCE = OpenApiParameter(
    HEADER,
    location=OpenApiParameter.HEADER,
    description="A text of your own, up to 100 characters: sent again within a day, the first answer is given.",
)
LONGEST_REASON = 2000


def revision_field(done: str) -> serializers.IntegerField:
    """What was looked at; `done` says what happens with it."""
    # In no header: an entity tag changes with all that an answer shows, a finding's decision too.
    return serializers.IntegerField(
        min_value=0,
        required=False,
        help_text=f"The visit's revision when you read it: one that was changed since is not {done} (409, rule "
        f"not_possible). Left out, the visit is {done} as it stands.",
    )


class ApprovalSerializer(serializers.Serializer[Any]):
    """The one reason for findings that were not decided one by one, and what was looked at."""

    accept_findings_reason = serializers.CharField(max_length=500, required=False, allow_blank=True, default="")
    revision = revision_field("approved")


class ReturnSerializer(serializers.Serializer[Any]):
    """What the recorder should look at again; it goes out by e-mail."""

    message = serializers.CharField(max_length=LONGEST_REASON)


class CorrectionSerializer(serializers.Serializer[Any]):
    """The visit as it should be, and why."""

    reason = serializers.CharField(max_length=LONGEST_REASON)
    revision = revision_field("corrected")
    submission = SubmissionSerializer()


class DecisionSerializer(serializers.Serializer[Any]):
    """What is decided on a finding, and why."""

    decision = serializers.ChoiceField(["accepted"], default="accepted")
    reason = serializers.CharField(max_length=500)


class ReviewView(PortalView):
    """A step of a visit's review; guest reviewers are let in."""

    entry = "visit.view"
    scopes = MappingProxyType({"POST": Scope.REVIEW})

    def visit(self, number: UUID) -> Visit:
        """The visit of that number in the group."""
        return get_object_or_404(visits_with_all(self.group), id=number)

    def shown(self, number: UUID) -> Response:
        """The visit as it is now."""
        return Response(VisitSerializer(self.visit(number), context={"person": self.person}).data)


ANSWERS = {200: OpenApiResponse(VisitSerializer, description="The visit as it is now."), **refusals(409, 422)}


class ApiVisitApprove(ReviewView):
    """Approve a visit."""

    @extend_schema(
        operation_id="visits_approve",
        summary="Approve a waiting visit that you took no part in",
        request=ApprovalSerializer,
        responses=ANSWERS,
        parameters=[ONCE],
        examples=[
            OpenApiExample(
                "Findings are right", {"accept_findings_reason": "Asked the recorder.", "revision": 0}
            )
        ],
    )
    @once
    def post(self, _request: Request, number: UUID, **_address: str) -> Response:
        visit = self.visit(number)
        require(self.person, "visit.approve", visit)
        approve_visit(person=self.person, visit=visit, **self.sent(ApprovalSerializer))
        return self.shown(number)


class ApiVisitReturn(ReviewView):
    """Return a visit to its recorder."""

    @extend_schema(
        operation_id="visits_return",
        summary="Return a waiting visit to its recorder with a message",
        request=ReturnSerializer,
        responses=ANSWERS,
        parameters=[ONCE],
        examples=[OpenApiExample("A question", {"message": "Is the count of Elmidae right?"})],
    )
    @once
    def post(self, _request: Request, number: UUID, **_address: str) -> Response:
        visit = self.visit(number)
        require(self.person, "visit.return", visit)
        return_visit(person=self.person, visit=visit, **self.sent(ReturnSerializer))
        return self.shown(number)


class ApiVisitCorrect(ReviewView):
    """Correct a visit."""

    scopes = MappingProxyType({"POST": Scope.WRITE_VISITS})

    @extend_schema(
        operation_id="visits_correct",
        summary="Correct a visit, with a reason; it is scored anew and waits for somebody else's approval",
        request=CorrectionSerializer,
        responses=ANSWERS,
        parameters=[ONCE],
    )
    @once
    def post(self, request: Request, number: UUID, **_address: str) -> Response:
        visit = self.visit(number)
        require(self.person, "visit.correct", visit)
        asked = ReasonSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        submission = submission_sent(self.group, asked.initial_data.get("submission"), number)
        correct_visit(person=self.person, visit=visit, submission=submission, **asked.validated_data)
        return self.shown(number)


class ReasonSerializer(serializers.Serializer[Any]):
    """Why, and what was looked at; what goes with it is read apart."""

    reason = serializers.CharField(max_length=LONGEST_REASON)
    revision = revision_field("corrected")


class ApiFindingDecide(ReviewView):
    """Decide a finding."""

    @extend_schema(
        operation_id="findings_decide",
        summary="Say that a finding is right as recorded, and why",
        request=DecisionSerializer,
        responses=ANSWERS,
        parameters=[ONCE],
    )
    @once
    def post(self, _request: Request, finding_id: UUID, **_address: str) -> Response:
        rows = Finding.objects.of_group(self.group).select_related("visit")
        finding = get_object_or_404(rows, id=finding_id)
        require(self.person, "visit.approve", finding.visit)
        decide_finding(person=self.person, finding=finding, **self.sent(DecisionSerializer))
        return self.shown(finding.visit_id)
