"""What the interface shows of groups, sites, lists and visits; submissions are read by surveys.submission."""

from __future__ import annotations

from datetime import datetime, tzinfo
from functools import lru_cache
from typing import Any

from django.db.models import Q
from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from portal.accounts.access import NOBODY, allowed
from portal.accounts.models import Membership
from surveys.api.queries import OF_SCORE
from surveys.forms.filtering import further_choices, lookups, search
from surveys.models import Finding, ListTaxon, RecordingList, Site, Visit, VisitScore
from surveys.models.visits import Status
from surveys.places.locations import grid_reference
from surveys.submission import submission_data
from surveys.submission.placing import POSITION, without_position

FIGURES = ("value", "low", "high")


class GroupSerializer(serializers.ModelSerializer[Membership]):
    """A group you belong to."""

    id = serializers.UUIDField(source="group.id")
    slug = serializers.SlugField(source="group.slug")
    name = serializers.CharField(source="group.name")

    class Meta:
        model = Membership
        fields = ["id", "slug", "name", "role"]


class SiteSerializer(serializers.ModelSerializer[Site]):
    """A site with its place (WGS84 degrees), plan and everything its samplers must know."""

    grid_reference = serializers.SerializerMethodField(
        help_text="British or Irish, eight figures; null elsewhere."
    )

    class Meta:
        model = Site
        exclude = ["group", "created_at"]

    def get_grid_reference(self, site: Site) -> str | None:
        return grid_reference(site.latitude, site.longitude)


class ListTaxonSerializer(serializers.ModelSerializer[ListTaxon]):
    """A line of a recording list."""

    class Meta:
        model = ListTaxon
        fields = ["taxon", "label", "section"]


class ListSerializer(serializers.ModelSerializer[RecordingList]):
    """A recording list."""

    taxa = ListTaxonSerializer(many=True)

    class Meta:
        model = RecordingList
        fields = ["id", "slug", "name", "version", "level", "taxa"]


class ScoreSerializer(serializers.ModelSerializer[VisitScore]):
    """One index: its value with the span that ranges allow, or why there is none."""

    class Meta:
        model = VisitScore
        fields = OF_SCORE


_MOMENT = serializers.DateTimeField()


def _told(score: VisitScore) -> dict[str, Any]:
    """As `ScoreSerializer` tells it, field by field: a list of fifty visits has eight hundred scores."""
    told = {name: getattr(score, name) for name in ScoreSerializer.Meta.fields}
    return told | {"scored_at": _MOMENT.to_representation(score.scored_at)}


def _told_again(packed: dict[str, Any], zone: tzinfo) -> dict[str, Any]:
    """The same of one that the database has packed as JSON, where 60.0 is 60 and moments have another form."""
    told = {name: packed[name] for name in OF_SCORE}
    for name in FIGURES:
        if told[name] is not None:
            told[name] = float(told[name])
    told["scored_at"] = _moment(told["scored_at"], zone)
    return told


# The scores of one visit are nearly always of one moment.
@lru_cache(maxsize=2_000)
def _moment(text: str, _zone: tzinfo) -> Any:
    return _MOMENT.to_representation(datetime.fromisoformat(text))


class FindingSerializer(serializers.ModelSerializer[Finding]):
    """Something unusual but possible, and what was decided on it."""

    class Meta:
        model = Finding
        fields = ["id", "rule", "field", "message", "decision", "decided_at", "decision_reason"]


class VisitSummarySerializer(serializers.ModelSerializer[Visit]):
    """A visit in a list, with its present scores."""

    scores = serializers.SerializerMethodField()

    class Meta:
        model = Visit
        fields = [
            "id",
            "site",
            "visited_on",
            "was_made",
            "not_made_reason",
            "status",
            "source",
            "is_past_record",
            "submitted_at",
            "revision",
            "scores",
        ]

    @extend_schema_field(ScoreSerializer(many=True))
    def get_scores(self, visit: Visit) -> list[Any]:
        packed: list[dict[str, Any]] | None = getattr(visit, "told_scores", None)
        if packed is not None:
            zone = timezone.get_current_timezone()
            return [_told_again(each, zone) for each in packed]
        present = sorted((each for each in visit.scores.all() if each.is_current), key=lambda each: each.index)
        return [_told(each) for each in present]


class VisitSerializer(VisitSummarySerializer):
    """A visit as it was submitted, its findings and scores."""

    submission = serializers.SerializerMethodField(
        help_text="Reads back as what may be submitted; without the position for those who may not see it."
    )
    findings = FindingSerializer(many=True)

    class Meta(VisitSummarySerializer.Meta):
        fields = [
            *VisitSummarySerializer.Meta.fields,
            "reviewed_at",
            "review_message",
            "submission",
            "findings",
        ]

    def to_representation(self, visit: Visit) -> dict[str, Any]:
        shown: dict[str, Any] = super().to_representation(visit)
        if not self._may_see_position(visit):
            shown["findings"] = [each for each in shown["findings"] if each["field"] != POSITION]
        return shown

    def _may_see_position(self, visit: Visit) -> bool:
        return allowed(self.context.get("person", NOBODY), "visit.see_position", visit)

    # Shown as text, blank where nothing was recorded: what was typed is not what a number would be.
    @extend_schema_field({"type": "object", "additionalProperties": True})
    def get_submission(self, visit: Visit) -> dict[str, Any]:
        data = submission_data(visit)
        return data if self._may_see_position(visit) else without_position(data)


class VisitFilterSerializer(serializers.Serializer[Any]):
    """What a list of visits may be narrowed to."""

    site = serializers.UUIDField(required=False, help_text="Of this site.")
    status = serializers.ChoiceField(Status.choices, required=False)
    was_made = serializers.BooleanField(required=False, allow_null=True, default=None)
    since = serializers.DateField(required=False, help_text="Visited on this day or later.")
    until = serializers.DateField(required=False, help_text="Visited on this day or earlier.")

    year = serializers.IntegerField(required=False, min_value=1900, max_value=2200)
    river = serializers.CharField(required=False, max_length=120)
    recorder = serializers.UUIDField(required=False, help_text="Recorded by this person.")
    recording_list = serializers.UUIDField(required=False, help_text="Recorded on this version of a list.")
    text = serializers.CharField(
        required=False, max_length=80, help_text="Words in site, names, notes or signs of pollution."
    )

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """With the choices that the apps above offer."""
        further = {
            name: serializers.ChoiceField([*each.choices], required=False, help_text=str(each.label))
            for name, each in further_choices().items()
        }
        return {**super().get_fields(), **further}

    def condition(self) -> Q:
        """The same as a condition on visits."""
        asked: dict[str, Any] = dict(self.validated_data)
        found = search(asked.pop("text", ""))
        for name, value in asked.items():
            found &= Q() if value is None else Q(**{lookups().get(name, name): value})
        return found
