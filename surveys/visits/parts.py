"""Visits with their parts read in one question, where a page would else ask for each kind of part by itself.

The database hands the parts over as JSON. `laid_out` makes the models' own objects of them and keeps them
where `prefetch_related` keeps its own, so that a reader of `visit.spots.all()` need not know which it was.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any, TypeVar

from django.contrib.postgres.expressions import ArraySubquery
from django.db import models
from django.db.models import F, OuterRef
from django.db.models.functions import Cast, JSONObject

from portal.accounts.models import User
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import (
    Finding,
    ListTaxon,
    Measurement,
    Photo,
    SpotEffort,
    TaxonCount,
    TimedKick,
    Visit,
    VisitQuestion,
    VisitScore,
)
from surveys.visits.effort import Kicked

WHY = "narrowed by the visits that fetch them"
# Asked for by name only: "photos", which drafts have too, "every_score" with the retired ones, "taxa" of the
# list, and "effort", "figures" and "tallies", which are as much of spots, scores and counts as a history of
# many visits and a table of them need.
ALL_PARTS = ("spots", "measurements", "counts", "findings", "corrected_by", "scores", "questions")
# Of a person only what stands in a record, never what belongs to the account.
OF_PERSON = ("id", "name")
# Words, whole numbers and yes or no need no reading.
SAID_AS_IT_IS = (models.CharField, models.TextField, models.BooleanField, models.IntegerField, models.JSONField)
PACKED = "packed_"
M = TypeVar("M", bound=models.Model)
Packed = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Figure:
    """A score in force as a table shows it: the value is in the unit of the index."""

    index: str
    value: float | None


@dataclass(frozen=True, slots=True)
class Tally:
    """One line of the tray as a comparison shows it: a number, a range, or neither where it was only seen."""

    taxon: str
    count: int | None
    low: int | None
    high: int | None


def with_parts(visits: GroupOwnedQuerySet[Any], *parts: str) -> GroupOwnedQuerySet[Visit]:
    """The same visits with some of `ALL_PARTS` packed beside each; `laid_out` unpacks them."""
    packed = {f"{PACKED}{name}": all_of(_query(name)) for name in parts}
    rows: GroupOwnedQuerySet[Visit] = visits.annotate(**packed)
    return rows


def laid_out(visits: Iterable[Visit]) -> list[Visit]:
    """The visits of `with_parts`, each with its parts as if they had been prefetched (no query)."""
    rows = list(visits)
    for visit in rows:
        for name in [each for each in vars(visit) if each.startswith(PACKED)]:
            _lay_out(visit, name.removeprefix(PACKED), vars(visit).pop(name))
    return rows


def all_of(rows: models.QuerySet[Any, Any]) -> models.Func:
    """All these rows of one JSON object each as one JSON array, which is read at once."""
    return models.Func(ArraySubquery(rows), function="TO_JSONB", output_field=models.JSONField())


def with_effort(visits: GroupOwnedQuerySet[Visit]) -> models.QuerySet[Visit, Any]:
    """The effort of each visit, packed; `effort_of` unpacks it."""
    return visits.values_list(all_of(_query("effort")), flat=True)


def effort_of(packed: Iterable[Packed]) -> tuple[Kicked, ...]:
    """The spots of one visit, as far as a history needs them."""
    return tuple(Kicked(each["number"], each["kicks"], Decimal(each["seconds"])) for each in packed)


def shown_photos(visits: Iterable[Visit]) -> list[Photo]:
    """The pictures of visits read with their "photos", in the order in which they were added (no query)."""
    found: list[Photo] = [photo for each in visits for photo in each.shown_photos]  # type: ignore[attr-defined]
    return sorted(found, key=lambda photo: photo.added_at)


def _query(name: str) -> models.QuerySet[Any, Any]:
    """The rows of one kind of part, in the order of their model, each as one JSON object."""
    of_visit = {"visit": OuterRef("pk")}
    if name == "spots":
        kicks = TimedKick.objects.across_groups(WHY).filter(spot=OuterRef("pk"))
        timed = ArraySubquery(kicks.values(json=_packed(TimedKick)))
        return (
            SpotEffort.objects.across_groups(WHY)
            .filter(**of_visit)
            .values(json=_packed(SpotEffort, timed=timed))
        )
    if name in ("effort", "tallies"):
        return _in_short(name, of_visit)
    if name == "findings":
        return _own(Finding, of_visit, decided_by=_person("decided_by"))
    if name == "questions":
        people = {each: _person(each) for each in ("asked_by", "asked_of")}
        return _own(VisitQuestion, of_visit, **people)
    if name == "every_score":
        return _own(VisitScore, of_visit)
    if name in ("scores", "figures"):
        current = VisitScore.objects.across_groups(WHY).filter(**of_visit, is_current=True)
        figures = JSONObject(index="index", value="value")
        return current.values(json=_packed(VisitScore) if name == "scores" else figures)
    if name == "corrected_by":
        through = Visit.corrected_by.through.objects.filter(**of_visit)
        return through.values(json=_person("user"))
    if name == "photos":
        of_number = {"group": OuterRef("group"), "visit_number": OuterRef("pk")}
        return Photo.objects.across_groups(WHY).filter(**of_number).values(json=_packed(Photo))
    if name == "taxa":
        own_list = ListTaxon.objects.filter(recording_list=OuterRef("recording_list"))
        return own_list.order_by("position").values(json=_packed(ListTaxon))
    return _own({"measurements": Measurement, "counts": TaxonCount}[name], of_visit)


def _in_short(name: str, conditions: Mapping[str, Any]) -> models.QuerySet[Any, Any]:
    if name == "effort":
        spots = SpotEffort.objects.across_groups(WHY).filter(**conditions)
        return spots.values(json=JSONObject(number="number", kicks="kicks", seconds=_as_text("seconds")))
    counts = TaxonCount.objects.across_groups(WHY).filter(**conditions)
    return counts.values(json=JSONObject(taxon="taxon", count="count", low="low", high="high"))


def _own(model: Any, conditions: Mapping[str, Any], **inner: Any) -> models.QuerySet[Any, Any]:
    rows: models.QuerySet[Any, Any] = model.objects.across_groups(WHY).filter(**conditions)
    return rows.values(json=_packed(model, **inner))


def _packed(model: type[models.Model], **inner: Any) -> JSONObject:
    return JSONObject(**{field.attname: _value(field) for field in model._meta.concrete_fields}, **inner)


def _value(field: models.Field[Any, Any]) -> Any:
    # As a JSON number a decimal would come back as a float, and 10.10 as 10.1.
    exact = isinstance(field, models.DecimalField)
    return _as_text(field.attname) if exact else F(field.attname)


def _as_text(column: str) -> Cast:
    return Cast(F(column), models.TextField())


def _person(path: str) -> JSONObject:
    return JSONObject(**{name: F(f"{path}__{name}") for name in OF_PERSON})


def _lay_out(visit: Visit, name: str, packed: Iterable[Packed]) -> None:
    if name == "scores":
        visit.current_scores = [_made(VisitScore, each, visit) for each in packed]  # type: ignore[attr-defined]
    elif name == "figures":
        visit.current_scores = [Figure(**each) for each in packed]  # type: ignore[attr-defined]
    elif name == "every_score":
        _keep(visit, "scores", [_part(VisitScore, each, visit) for each in packed])
    elif name == "tallies":
        visit.tallies = [Tally(**each) for each in packed]  # type: ignore[attr-defined]
    elif name == "effort":
        visit.effort = effort_of(packed)  # type: ignore[attr-defined]
    elif name == "photos":
        visit.shown_photos = [_made(Photo, each, visit) for each in packed]  # type: ignore[attr-defined]
    elif name == "corrected_by":
        _keep(visit, name, [_made(User, each, visit) for each in packed])
    elif name == "taxa":
        _keep(visit.recording_list, name, [_made(ListTaxon, each, visit) for each in packed])
    elif name == "spots":
        _keep(visit, name, [_spot(each, visit) for each in packed])
    else:
        _keep(visit, name, [_part(getattr(visit, name).model, each, visit) for each in packed])


def _part(model: type[M], packed: Packed, visit: Visit) -> M:
    """One part, with its visit and the people that are packed into it."""
    part = _made(model, packed, visit)
    part.visit = visit  # type: ignore[attr-defined]
    for name, person in packed.items():
        if isinstance(person, Mapping) and isinstance(model._meta.get_field(name), models.ForeignKey):
            setattr(part, name, _made(User, person, visit) if person["id"] else None)
    return part


def _spot(packed: Packed, visit: Visit) -> SpotEffort:
    spot = _part(SpotEffort, {name: value for name, value in packed.items() if name != "timed"}, visit)
    _keep(spot, "timed", [_made(TimedKick, each, visit) for each in packed["timed"]])
    return spot


def _made(model: type[M], packed: Packed, visit: Visit) -> M:
    names, readers = _reading(model, tuple(packed))
    given = zip(map(packed.__getitem__, names), readers, strict=True)
    values = [value if read is None else read(value) for value, read in given]
    return model.from_db(visit._state.db, names, values)


@lru_cache(maxsize=100)
def _reading(model: type[models.Model], given: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[Any, ...]]:
    """The columns that are given, and what makes each value of what JSON says (None: it is the value)."""
    fields = [field for field in model._meta.concrete_fields if field.attname in given]
    return tuple(field.attname for field in fields), tuple(
        None if isinstance(field, SAID_AS_IT_IS) else field.to_python for field in fields
    )


def _keep(owner: models.Model, name: str, parts: list[Any]) -> None:
    """Put parts where `prefetch_related` would have put them."""
    rows = getattr(owner, name).get_queryset()
    rows._result_cache, rows._prefetch_done = parts, True
    kept: dict[str, Any] = owner.__dict__.setdefault("_prefetched_objects_cache", {})
    kept[name] = rows
