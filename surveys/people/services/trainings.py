"""Kinds of training kept by a group, and who was trained."""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from portal.accounts.access import Person, require
from portal.accounts.models import Group, Membership
from portal.accounts.queries import members_of
from portal.accounts.walls import wide, within
from portal.audit.services import record_change
from surveys.errors import NotPossible, need_text
from surveys.people.evidence import SplitSample, split_samples
from surveys.people.mail import tell_lapsing
from surveys.people.models import Permit, Training, TrainingKind
from surveys.people.queries import Lapsing, lapsing_trainings

# Common practice, no source: three years for what is done in the water and for first aid.
USUAL_KINDS = (
    (gettext_lazy("Kick-sampling"), Permit.SAMPLE, 36),
    (gettext_lazy("Identification to family"), Permit.IDENTIFY, 36),
    (gettext_lazy("Leading a pair"), Permit.LEAD, 36),
    (gettext_lazy("First aid"), Permit.FIRST_AID, 36),
)


@dataclass(frozen=True)
class Trained:
    """What is said of a training. The trainer is a member, or somebody given by name.

    Without `valid_until` the months of its kind count. `split_sample` is "own visit:trainer's visit".
    """

    kind: UUID
    trained_on: date
    trainer: UUID | None = None
    trainer_name: str = ""
    valid_until: date | None = None
    evidence: str = ""
    split_sample: str = ""


def months_after(day: date, months: int) -> date:
    """The same day so many months later, or the last day of that month."""
    year, month = divmod(day.month - 1 + months, 12)
    last = calendar.monthrange(day.year + year, month + 1)[1]
    return date(day.year + year, month + 1, min(day.day, last))


@transaction.atomic
def add_usual_kinds(*, person: Person, group: Group) -> list[TrainingKind]:
    """Add the kinds that most groups keep, but for those whose name stands there already."""
    require(person, "training.manage", group)
    known = {each.name.casefold() for each in TrainingKind.objects.of_group(group)}
    missing = [each for each in USUAL_KINDS if str(each[0]).casefold() not in known]
    return [
        save_kind(person=person, group=group, name=str(name), permits=permits, valid_months=months)
        for name, permits, months in missing
    ]


@transaction.atomic
def save_kind(
    *,
    person: Person,
    group: Group,
    name: str,
    permits: str,
    valid_months: int | None,
    kind: TrainingKind | None = None,
    is_retired: bool = False,
) -> TrainingKind:
    """Add or change a kind; raises NotPossible at `name` when the group has one of that name."""
    require(person, "training.manage", group)
    saved = kind or TrainingKind(group=group)
    before = {field: getattr(saved, field) for field in ("name", "permits", "valid_months")} if kind else {}
    saved.name, saved.permits, saved.valid_months = name.strip(), permits, valid_months
    was_retired = saved.retired_at is not None
    if is_retired != was_retired:
        saved.retired_at = timezone.now() if is_retired else None
    try:
        with transaction.atomic():
            saved.save()
    except IntegrityError as taken:
        raise NotPossible(_("The group has a kind of this name already."), "name") from taken
    now = {field: str(getattr(saved, field)) for field in ("name", "permits", "valid_months")}
    changes = {each: [str(before.get(each, "")), new] for each, new in now.items()}
    changes = {each: pair for each, pair in changes.items() if pair[0] != pair[1]}
    if is_retired != was_retired:
        changes["retired"] = [str(was_retired), str(is_retired)]
    record_change(actor=person, verb="training_kind.saved", thing=saved, changes=changes)
    return saved


@transaction.atomic
def record_training(*, person: Person, membership: Membership, trained: Trained) -> Training:
    """Write down a training with its evidence. Raises NotPossible at its field."""
    require(person, "training.manage", membership)
    if membership.left_at:
        raise NotPossible(_("They are no longer a member. Ask them back first."))
    kind = TrainingKind.objects.of_group(membership.group).filter(pk=trained.kind, retired_at=None).first()
    if kind is None:
        raise NotPossible(_("Choose one of the group's kinds of training."), "kind")
    if trained.trained_on > timezone.localdate():
        raise NotPossible(_("This day is still to come. Write a training down when it is done."), "trained_on")
    until = trained.valid_until
    if until is None and kind.valid_months:
        until = months_after(trained.trained_on, kind.valid_months)
    if until and until < trained.trained_on:
        raise NotPossible(_("It would have lapsed before it began."), "valid_until")
    made = Training(membership=membership, kind=kind, trained_on=trained.trained_on, valid_until=until)
    made.evidence, made.recorded_by_id = trained.evidence.strip(), person.user_id
    _set_trainer(made, trained)
    _set_split_sample(made, trained.split_sample)
    made.save()
    record_change(
        actor=person,
        verb="training.recorded",
        thing=made,
        changes={"kind": [None, kind.name], "valid_until": [None, str(until) if until else None]},
    )
    return made


def _set_trainer(made: Training, trained: Trained) -> None:
    if trained.trainer is None:
        made.trainer_name = need_text(
            trained.trainer_name, "trainer_name", _("Choose the trainer, or write their name.")
        )
        return
    if trained.trainer == made.membership.user_id:
        raise NotPossible(_("Nobody trains themselves. Name who did."), "trainer")
    member = members_of(made.membership.group).filter(user=trained.trainer).first()
    if member is None:
        raise NotPossible(_("Choose a member of the group."), "trainer")
    made.trainer, made.trainer_name = member.user, member.user.name


def _set_split_sample(made: Training, chosen: str) -> None:
    if not chosen:
        return
    found: SplitSample | None = next(
        (each for each in split_samples(made.membership) if each.key == chosen), None
    )
    if found is None:
        raise NotPossible(_("This pair of counts is not there any more. Choose another."), "split_sample")
    made.own_visit, made.trainers_visit = found.own, found.others
    # As it stood when it counted as evidence: a later correction of the visits must not change the record.
    made.agreement = [
        {"label": str(each.label), "value": round(each.value, 1), "is_accepted": each.is_accepted}
        for each in found.measures
    ]


@transaction.atomic
def withdraw_training(*, person: Person, training: Training, reason: str) -> None:
    """Take a record back, with a reason; it stays readable and counts no more."""
    require(person, "training.manage", training.membership)
    if training.withdrawn_at:
        raise NotPossible(_("It has been withdrawn already."))
    training.withdrawn_reason = need_text(reason, "reason", _("Say why, in a few words."))
    training.withdrawn_at = timezone.now()
    training.save(update_fields=["withdrawn_reason", "withdrawn_at"])
    record_change(actor=person, verb="training.withdrawn", thing=training, reason=training.withdrawn_reason)


@wide("every group's people are reminded")
def remind_of_trainings(today: date) -> int:
    """Remind whoever's training lapses soon, once for each training; return how many are due a reminder."""
    keeping = TrainingKind.objects.across_groups("every group's people are reminded").filter(retired_at=None)
    reminded = 0
    for group in Group.objects.filter(pk__in=keeping.values("group")):
        # What lapsed before anybody could be reminded stands on the list of trainings alone.
        for each in lapsing_trainings(group, today):
            if each.until >= today:
                with within(group.pk):
                    _remind(each, group)
                reminded += 1
    return reminded


@transaction.atomic
def _remind(each: Lapsing, group: Group) -> None:
    tell_lapsing(each.person, group, each.training, each.kind.name, each.until)
