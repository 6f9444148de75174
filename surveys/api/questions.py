"""Questions about visits by program: asked of the recorder, read, answered."""

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
from portal.tokens.answers import once
from portal.tokens.models import Scope
from surveys.api.base import PortalView, refusals
from surveys.api.review import LONGEST_REASON, ONCE
from surveys.models import Visit, VisitQuestion
from surveys.services.questions import answer_question, ask_recorder


class QuestionSerializer(serializers.ModelSerializer[VisitQuestion]):
    """A question with its answer, blank while there is none; people by their numbers."""

    question = serializers.CharField(source="text")

    class Meta:
        model = VisitQuestion
        fields = ["id", "visit", "question", "asked_by", "asked_of", "asked_at", "answer", "answered_at"]


class AskSerializer(serializers.Serializer[Any]):
    """What you would like to know; it goes out by e-mail."""

    question = serializers.CharField(max_length=LONGEST_REASON)


class AnswerSerializer(serializers.Serializer[Any]):
    """The answer."""

    answer = serializers.CharField(max_length=LONGEST_REASON)


class ApiQuestions(PortalView):
    """The questions about one visit."""

    entry = "visit.view"
    scopes = MappingProxyType({"GET": Scope.READ_VISITS, "POST": Scope.REVIEW})

    def visit(self, number: UUID) -> Visit:
        """The visit of that number in the group."""
        rows = Visit.objects.of_group(self.group).select_related("group", "recorder", "entered_by")
        return get_object_or_404(rows, id=number)

    @extend_schema(
        operation_id="questions_list",
        summary="Questions about a visit with their answers, the oldest first",
        responses={200: QuestionSerializer(many=True), **refusals()},
    )
    def get(self, _request: Request, number: UUID, **_address: str) -> Response:
        visit = self.visit(number)
        require(self.person, "visit.view", visit)
        rows = VisitQuestion.objects.of_group(self.group).filter(visit=visit).order_by("asked_at")
        return Response(QuestionSerializer(rows, many=True).data)

    @extend_schema(
        operation_id="questions_ask",
        summary="Ask the recorder of a waiting visit; it goes on waiting",
        request=AskSerializer,
        responses={201: OpenApiResponse(QuestionSerializer, description="Asked."), **refusals(409, 422)},
        parameters=[ONCE],
        examples=[OpenApiExample("A name", {"question": "Did you see the gills?"}, request_only=True)],
    )
    @once
    def post(self, _request: Request, number: UUID, **_address: str) -> Response:
        visit = self.visit(number)
        require(self.person, "question.ask", visit)
        asked = self.sent(AskSerializer)
        question = ask_recorder(person=self.person, visit=visit, text=asked["question"])
        return Response(QuestionSerializer(question).data, status=status.HTTP_201_CREATED)


class ApiQuestionAnswer(PortalView):
    """Answering."""

    scopes = MappingProxyType({"POST": Scope.WRITE_VISITS})

    @extend_schema(
        operation_id="questions_answer",
        summary="Answer a question that you were asked, once",
        request=AnswerSerializer,
        responses={200: OpenApiResponse(QuestionSerializer, description="Answered."), **refusals(409, 422)},
        parameters=[ONCE],
        examples=[OpenApiExample("Yes", {"answer": "Yes, in the lens."}, request_only=True)],
    )
    @once
    def post(self, _request: Request, question_id: UUID, **_address: str) -> Response:
        rows = VisitQuestion.objects.of_group(self.group).select_related("visit__group")
        question = get_object_or_404(rows, id=question_id)
        require(self.person, "question.answer", question)
        asked = self.sent(AnswerSerializer)
        held = answer_question(person=self.person, question=question, text=asked["answer"])
        return Response(QuestionSerializer(held).data)
