"""Pages behind the signed links of the rota's mails. Reading changes nothing; only the buttons do."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.models import Membership
from portal.accounts.signed_links import by_link, token_of
from surveys.rota.links import holder_of, read_cover, read_place, read_reminders, read_swap
from surveys.rota.mail import usual_cautions
from surveys.rota.models import Assignment, CoverOffer, PlannedVisit, SwapOffer
from surveys.rota.queries import Plan, availability_of, plan_of, planned_visits
from surveys.rota.services.answers import accept_place, decline_place, take_cover
from surveys.rota.services.availability import USUAL_DAYS, set_reminders
from surveys.rota.services.swaps import agree_swap, offer_swap, refuse_swap
from surveys.rota.views.shared import attempt, carried_out
from surveys.rota.views.visits import swap_form

GONE = "rota/link_gone.html"


def _plan(planned: PlannedVisit) -> Plan:
    return plan_of(planned_visits(planned.group).get(pk=planned.pk), timezone.localdate())


def _can_act(plan: Plan) -> bool:
    return plan.planned.is_coming() and plan.outcome in ("coming", "open")


@require_safe
@never_cache
@by_link(read_place, GONE)
def rota_link(request: HttpRequest, place: Assignment) -> HttpResponse:
    """One's own visit, with the buttons yes and I cannot, and a swap."""
    return _show_place(request, place)


def _show_place(request: HttpRequest, place: Assignment, form: Any = None) -> HttpResponse:
    plan = _plan(place.planned)
    context = {
        "place": place,
        "plan": plan,
        "planned": place.planned,
        "can_act": place.is_live and _can_act(plan),
        "swap_form": form or swap_form(place),
        "cautions": usual_cautions(),
        "token": token_of(request),
    }
    return render(request, "rota/rota_link.html", context, status=422 if form and form.errors else 200)


@require_POST
@never_cache
@by_link(read_place, GONE)
def rota_link_accept(request: HttpRequest, place: Assignment) -> HttpResponse:
    """Say yes."""
    holder = holder_of(place.user)
    attempt(request, lambda: accept_place(person=holder, place=place), _("Thank you, it is noted."))
    return redirect("rota_link", token=token_of(request))


@require_POST
@never_cache
@by_link(read_place, GONE)
def rota_link_decline(request: HttpRequest, place: Assignment) -> HttpResponse:
    """Say that one cannot."""
    holder = holder_of(place.user)
    thanks = _("Thank you for saying so. Others are asked.")
    attempt(request, lambda: decline_place(person=holder, place=place), thanks)
    return redirect("rota_link", token=token_of(request))


@require_POST
@never_cache
@by_link(read_place, GONE)
def rota_link_swap(request: HttpRequest, place: Assignment) -> HttpResponse:
    """Offer one's place for somebody else's."""
    form = swap_form(place, request.POST)
    if form.is_valid():
        rows = Assignment.objects.of_group(place.planned.group).select_related("planned")
        yours = rows.get(pk=form.cleaned_data["yours"])
        if carried_out(form, lambda: offer_swap(person=holder_of(place.user), mine=place, yours=yours)):
            attempt(request, lambda: None, _("They are asked by e-mail. Until they agree nothing changes."))
            return redirect("rota_link", token=token_of(request))
    return _show_place(request, place, form)


@require_safe
@never_cache
@by_link(read_cover, GONE)
def cover_link(request: HttpRequest, offer: CoverOffer) -> HttpResponse:
    """The open place, with the button that takes it."""
    plan = _plan(offer.planned)
    context = {
        "offer": offer,
        "plan": plan,
        "planned": offer.planned,
        "is_mine": plan.of(offer.user_id) is not None,
        "can_act": _can_act(plan) and bool(plan.open_places),
        "cautions": usual_cautions(),
        "token": token_of(request),
    }
    return render(request, "rota/cover_link.html", context)


@require_POST
@never_cache
@by_link(read_cover, GONE)
def cover_link_take(request: HttpRequest, offer: CoverOffer) -> HttpResponse:
    """Take it."""
    holder = holder_of(offer.user)
    attempt(request, lambda: take_cover(person=holder, offer=offer), _("Thank you: the place is yours."))
    return redirect("cover_link", token=token_of(request))


@require_safe
@never_cache
@by_link(read_swap, GONE)
def swap_link(request: HttpRequest, swap: SwapOffer) -> HttpResponse:
    """What is offered for what, with the buttons agree and no."""
    context = {
        "swap": swap,
        "can_act": swap.state == SwapOffer.State.OPEN,
        "cautions": usual_cautions(),
        "token": token_of(request),
    }
    return render(request, "rota/swap_link.html", context)


@require_POST
@never_cache
@by_link(read_swap, GONE)
def swap_link_agree(request: HttpRequest, swap: SwapOffer) -> HttpResponse:
    """Agree; both have changed places."""
    holder = holder_of(swap.yours.user)
    attempt(request, lambda: agree_swap(person=holder, swap=swap), _("Agreed: you have changed places."))
    return redirect("swap_link", token=token_of(request))


@require_POST
@never_cache
@by_link(read_swap, GONE)
def swap_link_refuse(request: HttpRequest, swap: SwapOffer) -> HttpResponse:
    """Say no."""
    holder = holder_of(swap.yours.user)
    attempt(request, lambda: refuse_swap(person=holder, swap=swap), _("It is said. You keep your visit."))
    return redirect("swap_link", token=token_of(request))


# Mail programs press the button for their reader and know no token of ours (RFC 8058); the link is signed.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
@by_link(read_reminders, GONE)
def reminders_link(request: HttpRequest, membership: Membership) -> HttpResponse:
    """Whether one is reminded of visits, with the button that ends it; a POST ends it."""
    holder = holder_of(membership.user)
    if request.method == "POST":
        set_reminders(person=holder, group=membership.group, days=0)
        messages.success(request, _("You get no more reminders of this group's visits."))
        return redirect("reminders_link", token=token_of(request))
    own = availability_of(holder, membership.group)
    days = USUAL_DAYS if own is None else own.remind_days
    context = {"membership": membership, "group": membership.group, "days": days, "token": token_of(request)}
    return render(request, "rota/reminders_link.html", context | {"usual_days": USUAL_DAYS})


@require_POST
@never_cache
@by_link(read_reminders, GONE)
def reminders_link_on(request: HttpRequest, membership: Membership) -> HttpResponse:
    """Be reminded again."""
    set_reminders(person=holder_of(membership.user), group=membership.group, days=USUAL_DAYS)
    messages.success(request, _("You are reminded of your visits again."))
    return redirect("reminders_link", token=token_of(request))
