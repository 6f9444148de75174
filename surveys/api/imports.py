"""Sheets of past visits by program: sent, explained, checked, loaded, undone; each step is the page's own."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_view
from rest_framework import serializers, status
from rest_framework.generics import ListAPIView
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from portal.accounts.access import require
from portal.jobs.models import Job
from portal.tokens.answers import once
from portal.tokens.models import Scope
from surveys.api.base import PortalView, refusals
from surveys.api.exports import JobSerializer
from surveys.api.import_plans import PlanSerializer
from surveys.api.review import LONGEST_REASON, ONCE
from surveys.errors import NotPossible
from surveys.importing import UnusableFile
from surveys.models import ImportRun
from surveys.services import imports as services

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
ORDERED = {202: OpenApiResponse(JobSerializer, description="Ordered: watch the job."), **refusals(409, 422)}


class ImportSerializer(serializers.ModelSerializer[ImportRun]):
    """A sheet and how far it is; `report` is what its last check found."""

    is_explained = serializers.SerializerMethodField(help_text="Whether it is known what its columns mean.")
    report = serializers.JSONField(
        allow_null=True,
        help_text="rows_read, new, already_there, findings, bad_visits, problem_count, problems (row, column, "
        "cell, value, message), differing (visits here that say something else), preview, understood.",
    )
    has_rows_to_mend = serializers.SerializerMethodField(help_text="Whether there are rows to fetch and mend.")

    class Meta:
        model = ImportRun
        fields = [
            "id",
            "file_name",
            "created_at",
            "rows_read",
            "is_explained",
            "checked_at",
            "report",
            "has_rows_to_mend",
            "loaded_at",
            "visits_loaded",
            "left_out",
            "undone_at",
            "undone_reason",
        ]

    def get_is_explained(self, run: ImportRun) -> bool:
        return bool(run.plan)

    def get_has_rows_to_mend(self, run: ImportRun) -> bool:
        return bool(run.to_mend)


class SheetSerializer(serializers.Serializer[Any]):
    """A sheet as it is sent."""

    sheet = serializers.FileField(help_text="CSV or XLSX, at most 20 MB and 10,000 rows.")


class LoadSerializer(serializers.Serializer[Any]):
    """What to load."""

    only_sound = serializers.BooleanField(default=False, help_text="Leave visits with problems out.")


class UndoSerializer(serializers.Serializer[Any]):
    """Why it is undone; it stays in the group's records."""

    reason = serializers.CharField(max_length=LONGEST_REASON)


class ImportView(PortalView):
    """What is done with one sheet."""

    def run(self, run_id: UUID) -> ImportRun:
        """The sheet of that number in the group."""
        require(self.person, "import.run", self.group)
        return get_object_or_404(ImportRun.objects.of_group(self.group).select_related("group"), id=run_id)

    def kept(self, run_id: UUID) -> ImportRun:
        """The same while it is neither loaded nor gone; raises NotPossible."""
        run = self.run(run_id)
        if run.loaded_at or not run.file:
            raise NotPossible(_("This sheet is loaded already, or kept no longer."))
        return run

    def ordered(self, job: Job) -> Response:
        """The job, and where to watch it."""
        place = reverse("api_job", args=[self.group.slug, job.pk])
        return Response(JobSerializer(job).data, status=status.HTTP_202_ACCEPTED, headers={"Location": place})


@extend_schema_view(
    get=extend_schema(
        operation_id="imports_list",
        summary="Sheets that were sent in, newest first",
        responses={200: ImportSerializer(many=True), **refusals()},
    )
)
class ApiImports(ImportView, ListAPIView[ImportRun]):
    """The sheets of a group."""

    scopes = MappingProxyType({"GET": Scope.IMPORT, "POST": Scope.IMPORT})

    serializer_class = ImportSerializer
    queryset = ImportRun.objects.none()
    parser_classes = (MultiPartParser,)

    def get_queryset(self) -> QuerySet[ImportRun]:
        require(self.person, "import.run", self.group)
        return ImportRun.objects.of_group(self.group).order_by("-created_at")[:100]

    @extend_schema(
        operation_id="imports_send",
        summary="Send in a sheet; it is checked in the background where it is known what its columns mean",
        request={"multipart/form-data": SheetSerializer},
        responses={201: OpenApiResponse(ImportSerializer, description="Kept."), **refusals(409, 422)},
        parameters=[ONCE],
    )
    @once
    def post(self, _request: Request, **_address: str) -> Response:
        require(self.person, "import.run", self.group)
        file = self.sent(SheetSerializer)["sheet"]
        try:
            run = services.take_sheet(person=self.person, group=self.group, file=file, file_name=file.name)
        except UnusableFile as reason:
            raise NotPossible(str(reason), "sheet") from reason
        place = reverse("api_import", args=[self.group.slug, run.pk])
        return Response(ImportSerializer(run).data, status=status.HTTP_201_CREATED, headers={"Location": place})


class ApiImport(ImportView):
    """One sheet."""

    scopes = MappingProxyType({"GET": Scope.IMPORT})

    @extend_schema(
        operation_id="imports_retrieve",
        summary="A sheet with what its check found",
        responses={200: ImportSerializer, **refusals()},
    )
    def get(self, _request: Request, run_id: UUID, **_address: str) -> Response:
        return Response(ImportSerializer(self.run(run_id)).data)


class ApiImportPlan(ImportView):
    """What a sheet means."""

    scopes = MappingProxyType({"GET": Scope.IMPORT, "POST": Scope.IMPORT})

    @extend_schema(
        operation_id="imports_plan",
        summary="What the columns of a sheet mean, as far as it was said or can be guessed",
        responses={200: PlanSerializer, **refusals(409, 422)},
    )
    def get(self, _request: Request, run_id: UUID, **_address: str) -> Response:
        run = self.kept(run_id)
        return Response(services.plan_of(run, services.raw_of(run)).as_json())

    @extend_schema(
        operation_id="imports_explain",
        summary="Say what the columns of a sheet mean, for it and the next one like it; its check is ordered",
        request=PlanSerializer,
        responses=ORDERED,
        parameters=[ONCE],
        examples=[
            OpenApiExample(
                "One row for each taxon",
                {
                    "layout": "taxon_rows",
                    "columns": {"Station": "site", "Day": "date", "Family": "taxon", "Number": "count"},
                    "date_order": "dmy",
                },
                request_only=True,
            )
        ],
    )
    @once
    def post(self, request: Request, run_id: UUID, **_address: str) -> Response:
        run = self.kept(run_id)
        raw = services.raw_of(run)
        asked = PlanSerializer(data=request.data, context={"raw": raw})
        asked.is_valid(raise_exception=True)
        plan = asked.plan()
        return self.ordered(services.explain_sheet(person=self.person, run=run, raw=raw, plan=plan))


class ApiImportCheck(ImportView):
    """Check anew."""

    scopes = MappingProxyType({"POST": Scope.IMPORT})

    @extend_schema(
        operation_id="imports_check",
        summary="Check a sheet anew, because the group has changed",
        request=None,
        responses=ORDERED,
        parameters=[ONCE],
    )
    @once
    def post(self, _request: Request, run_id: UUID, **_address: str) -> Response:
        run = explained(self.kept(run_id))
        return self.ordered(services.request_check(person=self.person, run=run))


class ApiImportLoad(ImportView):
    """Load."""

    scopes = MappingProxyType({"POST": Scope.IMPORT})

    @extend_schema(
        operation_id="imports_load",
        summary="Load a sheet whole or not at all; its visits wait for somebody else's approval",
        request=LoadSerializer,
        responses=ORDERED,
        parameters=[ONCE],
        examples=[OpenApiExample("Leave out what has problems", {"only_sound": True}, request_only=True)],
    )
    @once
    def post(self, _request: Request, run_id: UUID, **_address: str) -> Response:
        run = explained(self.kept(run_id))
        return self.ordered(services.request_loading(person=self.person, run=run, **self.sent(LoadSerializer)))


class ApiImportUndo(ImportView):
    """Undo."""

    scopes = MappingProxyType({"POST": Scope.IMPORT})

    @extend_schema(
        operation_id="imports_undo",
        summary="Remove all visits of a sheet, while nobody has built on them",
        request=UndoSerializer,
        responses=ORDERED,
        parameters=[ONCE],
        examples=[OpenApiExample("Twice", {"reason": "Loaded under the wrong site."}, request_only=True)],
    )
    @once
    def post(self, _request: Request, run_id: UUID, **_address: str) -> Response:
        run = self.run(run_id)
        return self.ordered(services.request_undoing(person=self.person, run=run, **self.sent(UndoSerializer)))


class ApiImportErrors(ImportView):
    """The rows to mend."""

    scopes = MappingProxyType({"GET": Scope.IMPORT})

    @extend_schema(
        operation_id="imports_errors",
        summary="The rows with problems as a sheet that says what is wrong with each (XLSX)",
        responses={(200, XLSX): OpenApiTypes.BINARY, **refusals()},
    )
    def get(self, _request: Request, run_id: UUID, **_address: str) -> HttpResponse:
        run = self.run(run_id)
        if not run.to_mend:
            raise Http404
        # Read at once: it is small, and a stream would stay open where nobody reads it to its end.
        with run.to_mend.open("rb") as file:
            return HttpResponse(file.read(), content_type=XLSX)


def explained(run: ImportRun) -> ImportRun:
    """The run itself; raises NotPossible while nobody has said what its columns mean."""
    if not run.plan:
        raise NotPossible(_("Say first what the columns of this sheet mean."))
    return run
