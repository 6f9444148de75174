"""Pictures of a visit that a phone took at the water and sends after it."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any
from uuid import UUID

from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers, status
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from portal.accounts.access import require
from portal.tokens.models import Scope
from surveys.api.base import PortalView, refusals
from surveys.api.problems import number_taken, problem_response
from surveys.errors import Conflict
from surveys.models import Photo, Visit
from surveys.services.photos import InvalidPhoto, send_photo
from surveys.submission import Problem


class PhotoSerializer(serializers.ModelSerializer[Photo]):
    """A picture that was kept."""

    class Meta:
        model = Photo
        fields = ["id", "caption", "added_at"]


class SentPhotoSerializer(serializers.Serializer[Any]):
    """A picture as it is sent."""

    photo = serializers.FileField(help_text="JPEG, PNG or WebP; kept without place and camera data.")
    caption = serializers.CharField(max_length=160, required=False)


class ApiVisitPhoto(PortalView):
    """One picture of a visit, sent under a number of your own making."""

    scopes = MappingProxyType({"PUT": Scope.WRITE_VISITS})
    parser_classes = (MultiPartParser,)

    @extend_schema(
        operation_id="visit_photos_submit",
        summary="Add a picture to a visit you submitted; sent again, it is answered with the first result",
        request={"multipart/form-data": SentPhotoSerializer},
        responses={
            201: OpenApiResponse(PhotoSerializer, description="Kept."),
            200: OpenApiResponse(PhotoSerializer, description="Kept before."),
            **refusals(409, 422),
        },
    )
    def put(self, request: Request, number: UUID, photo_number: UUID, **_address: str) -> Response:
        visit = get_object_or_404(Visit.objects.of_group(self.group), id=number)
        require(self.person, "visit.add_photo", visit)
        try:
            photo, is_new = self._kept(request, visit, photo_number)
        except InvalidPhoto as reason:
            problem = Problem("photo", str(reason), "unreadable")
            return problem_response(status.HTTP_422_UNPROCESSABLE_ENTITY, str(reason), (problem,))
        except Conflict:
            return number_taken(_("This number belongs to another picture. Make a new one."))
        made = status.HTTP_201_CREATED if is_new else status.HTTP_200_OK
        return Response(PhotoSerializer(photo).data, status=made)

    def _kept(self, request: Request, visit: Visit, number: UUID) -> tuple[Photo, bool]:
        upload = request.FILES.get("photo")
        if upload is None:
            raise InvalidPhoto(_("Choose a picture first."))
        caption = str(request.POST.get("caption", ""))
        return send_photo(person=self.person, visit=visit, number=number, upload=upload, caption=caption)
