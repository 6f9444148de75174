"""What a visit meant against the site's trigger, for programs."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any
from uuid import UUID

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.judging.rescored import moved_score
from alerts.judging.verdicts import reason_words
from alerts.models import Trigger, Verdict
from portal.tokens.models import Scope
from surveys.api.base import PortalView, refusals


class TriggerSerializer(serializers.ModelSerializer[Trigger]):
    """The level of an index strictly below which the agency is told."""

    class Meta:
        model = Trigger
        fields = ["id", "index", "level", "valid_from", "reason"]


class VerdictSerializer(serializers.ModelSerializer[Verdict]):
    """Below the trigger, not below it, or not tested and why: silence never means clean."""

    trigger = TriggerSerializer(allow_null=True)
    reasons = serializers.ListField(child=serializers.CharField(), help_text="Codes: why it was not tested.")
    set_aside = serializers.ListField(child=serializers.CharField(), help_text="Codes that were overridden.")
    explanations = serializers.SerializerMethodField(help_text="The reasons in words.")
    value = serializers.FloatField(allow_null=True, help_text="The score that was held against the trigger.")
    is_earlier_score = serializers.SerializerMethodField(
        help_text="Whether the visit was scored anew since, with another value: the verdict stands on `value`."
    )

    class Meta:
        model = Verdict
        fields = [
            "visit",
            "outcome",
            "value",
            "is_earlier_score",
            "trigger",
            "reasons",
            "explanations",
            "set_aside",
            "tested_anyway_reason",
            "decided_at",
        ]

    def get_explanations(self, verdict: Verdict) -> list[str]:
        return reason_words(verdict.reasons)

    def get_is_earlier_score(self, verdict: Verdict) -> bool:
        return moved_score(verdict.visit, verdict) is not None


class ApiVerdict(PortalView):
    """The verdict on one visit."""

    scopes = MappingProxyType({"GET": Scope.READ_VISITS})

    @extend_schema(
        operation_id="verdicts_retrieve",
        summary="What a visit meant against the trigger of its site",
        responses={200: VerdictSerializer, **refusals()},
    )
    def get(self, _request: Request, number: UUID, **_address: Any) -> Response:
        verdicts = Verdict.objects.of_group(self.group).select_related("trigger", "visit")
        return Response(VerdictSerializer(get_object_or_404(verdicts, visit=number)).data)
