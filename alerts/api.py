"""What a visit meant against the site's trigger, for programs."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models import Trigger, Verdict
from alerts.verdicts import reason_words
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

    class Meta:
        model = Verdict
        fields = [
            "visit",
            "outcome",
            "value",
            "trigger",
            "reasons",
            "explanations",
            "set_aside",
            "tested_anyway_reason",
            "decided_at",
        ]

    def get_explanations(self, verdict: Verdict) -> list[str]:
        return reason_words(verdict.reasons)


class ApiVerdict(PortalView):
    """The verdict on one visit."""

    @extend_schema(
        operation_id="verdicts_retrieve",
        summary="What a visit meant against the trigger of its site",
        responses={200: VerdictSerializer, **refusals()},
    )
    def get(self, _request: Request, number: UUID, **_address: Any) -> Response:
        verdicts = Verdict.objects.of_group(self.group).select_related("trigger")
        return Response(VerdictSerializer(get_object_or_404(verdicts, visit=number)).data)
