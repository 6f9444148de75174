"""Exports by program: ordered, watched, fetched."""

from __future__ import annotations

from types import MappingProxyType
from urllib.parse import urlencode
from uuid import UUID

from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404
from django.urls import reverse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from portal.accounts.access import require
from portal.audit.services import record_taken
from portal.jobs.models import Job
from portal.tokens.answers import once
from portal.tokens.models import Scope
from surveys.api.base import PortalView, refusals
from surveys.api.review import ONCE
from surveys.api.serializers import VisitFilterSerializer
from surveys.exporting.contents import CONTENTS, FILE_KINDS
from surveys.exporting.services import ARCHIVE, Wish, request_export


class ExportSerializer(VisitFilterSerializer):
    """What to take: a table or a Darwin Core Archive, and of which visits."""

    content = serializers.ChoiceField([*CONTENTS, ARCHIVE])
    file_kind = serializers.ChoiceField(
        [*FILE_KINDS], default="csv", help_text="Of a table; an archive is a zip."
    )

    def wish(self) -> Wish:
        """The same as the service takes it."""
        asked = dict(self.validated_data)
        made = asked.pop("was_made", None)
        wish = {"content": asked.pop("content"), "file_kind": asked.pop("file_kind")}
        choice = {name: str(value) for name, value in asked.items() if value}
        # The list above the export has one choice for the state and for visits that were not made.
        return Wish(choice=urlencode(choice | ({"status": "not_made"} if made is False else {})), **wish)


class JobSerializer(serializers.ModelSerializer[Job]):
    """Long work: how far it is, and what came of it."""

    has_file = serializers.SerializerMethodField(help_text="Whether there is a file to fetch.")

    class Meta:
        model = Job
        fields = [
            "id",
            "label",
            "state",
            "done",
            "total",
            "created_at",
            "ended_at",
            "problem",
            "summary",
            "has_file",
        ]

    def get_has_file(self, job: Job) -> bool:
        return bool(job.file)


class ApiExports(PortalView):
    """Order an export."""

    scopes = MappingProxyType({"POST": Scope.EXPORT})

    @extend_schema(
        operation_id="exports_request",
        summary="Order an export; it is made in the background and kept for a week",
        request=ExportSerializer,
        responses={202: OpenApiResponse(JobSerializer, description="Ordered."), **refusals(409, 422)},
        parameters=[ONCE],
        examples=[
            OpenApiExample("Counts of a year", {"content": "counts", "file_kind": "csv", "since": "2026-01-01"})
        ],
    )
    @once
    def post(self, request: Request, **_address: str) -> Response:
        group = self.group
        asked = ExportSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        job = request_export(person=self.person, group=group, wish=asked.wish())
        place = reverse("api_job", args=[group.slug, job.pk])
        return Response(JobSerializer(job).data, status=status.HTTP_202_ACCEPTED, headers={"Location": place})


class JobView(PortalView):
    """Long work that the person ordered, or any of the group's for its coordinators."""

    scopes = MappingProxyType({"GET": f"{Scope.EXPORT} or {Scope.IMPORT}"})

    def job(self, job_id: UUID) -> Job:
        """The job, if the person may see it."""
        job = get_object_or_404(Job.objects.of_group(self.group), id=job_id)
        require(self.person, "job.view", job)
        return job


class ApiJob(JobView):
    """One job."""

    @extend_schema(
        operation_id="jobs_retrieve",
        summary="How far long work is, and what came of it",
        responses={200: JobSerializer, **refusals()},
    )
    def get(self, _request: Request, job_id: UUID, **_address: str) -> Response:
        return Response(JobSerializer(self.job(job_id)).data)


class ApiJobFile(JobView):
    """The file of a job."""

    # Only exports, and the file of all that is kept of a person, end with one: loading a sheet needs none.
    scopes = MappingProxyType({"GET": Scope.EXPORT})

    @extend_schema(
        operation_id="jobs_file",
        summary="The file that long work made, while it is kept",
        responses={(200, "application/octet-stream"): OpenApiTypes.BINARY, **refusals()},
    )
    def get(self, request: Request, job_id: UUID, **_address: str) -> FileResponse:
        job = self.job(job_id)
        if not job.file:
            raise Http404
        record_taken(request, job, job.file_name)
        kind = "application/octet-stream"
        return FileResponse(job.file.open("rb"), as_attachment=True, filename=job.file_name, content_type=kind)
