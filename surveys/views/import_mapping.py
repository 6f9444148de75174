"""The page that says what the columns, names and cells of a sheet mean."""

from __future__ import annotations

from dataclasses import replace
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from surveys.forms.imports import LayoutForm, MappingForm
from surveys.importing.plans import LAYOUTS, Plan, guess_plan
from surveys.importing.raw import RawSheet
from surveys.importing.remembering import unknown_sites, unknown_taxa
from surveys.models import ImportRun, Site
from surveys.models.codes import by_code
from surveys.services import imports as services
from surveys.views.imports import find_run

Codes = list[tuple[str, str]]


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def import_map(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """Which column is which, which name means which of ours, and how cells are read."""
    run = find_run(enter(request, slug, "import.run"), run_id)
    if run.loaded_at or not run.file:
        return redirect("import_detail", slug=slug, run_id=run.pk)
    raw = services.raw_of(run)
    plan = _in_layout(services.plan_of(run, raw), raw, _asked_layout(request))
    rows = Site.objects.of_group(run.group).order_by(*by_code())
    codes = [(site.code, f"{site.code} {site.name}") for site in rows]
    if request.method != "POST":
        return _show(request, run, _whole_form(raw, plan, codes))
    form = _sent_form(request, raw, plan, codes)
    if not form.is_valid():
        return _show(request, run, form, 422)
    told = form.told()
    asked = _whole_form(raw, told, codes)
    if not (
        form.has_seen("taxon", asked.taxon_names.values()) and form.has_seen("site", asked.site_names.values())
    ):
        # Names that came into play with the columns just told are asked for before they count as problems.
        return _show(request, run, asked, names_are_new=True)
    services.explain_sheet(person=request.person, run=run, raw=raw, plan=told)
    return redirect("import_detail", slug=slug, run_id=run.pk)


def _asked_layout(request: PortalRequest) -> str:
    return request.POST.get("layout", "") or request.GET.get("layout", "")


def _in_layout(plan: Plan, raw: RawSheet, asked: str) -> Plan:
    """The plan in the layout asked for; its names and ways of writing stay."""
    if asked not in LAYOUTS or asked == plan.layout:
        return plan
    guess = guess_plan(raw, asked)
    return replace(guess, taxa=plan.taxa, sites=plan.sites, marks=plan.marks)


def _sent_form(request: PortalRequest, raw: RawSheet, plan: Plan, codes: Codes) -> MappingForm:
    """The form as sent, with the names that it was shown for."""
    bare = MappingForm(request.POST, raw=raw, plan=plan)
    bare.is_valid()
    told = replace(bare.told(), taxa={}, sites={})
    taxa = unknown_taxa(raw, told)
    sites = unknown_sites(raw, told, [code for code, _name in codes])
    return MappingForm(request.POST, raw=raw, plan=plan, taxa=taxa, sites=sites, codes=codes)


def _whole_form(raw: RawSheet, plan: Plan, codes: Codes) -> MappingForm:
    taxa = unknown_taxa(raw, plan)
    sites = unknown_sites(raw, plan, [code for code, _name in codes])
    return MappingForm(None, raw=raw, plan=plan, taxa=taxa, sites=sites, codes=codes)


def _show(
    request: PortalRequest, run: ImportRun, form: MappingForm, status: int = 200, *, names_are_new: bool = False
) -> HttpResponse:
    layout = form.plan.layout
    context = {
        "run": run,
        "form": form,
        "layout": layout,
        "layout_form": LayoutForm(initial={"layout": layout}),
        "names_are_new": names_are_new,
    }
    return render(request, "surveys/import_map.html", context, status=status)
