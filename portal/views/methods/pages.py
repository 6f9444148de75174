"""How visits are scored: an index of the methods and a page for each, for everybody."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portal.views.methods.examples import first_lines, read_lines, score_example
from portal.views.methods.forms import ExampleForm
from portal.views.methods.groups import method_groups
from portal.views.methods.tables import tables_of
from scoring.indices import METHODS


@require_safe
def methods(request: HttpRequest) -> HttpResponse:
    """The methods by what they look at."""
    return render(request, "portal/methods.html", {"groups": method_groups()})


@require_safe
def method_detail(request: HttpRequest, method_key: str) -> HttpResponse:
    """One method: formula, table with the status of each row, source, limits, and an example to try."""
    if method_key not in METHODS:
        raise Http404
    lines = first_lines(method_key)
    form = ExampleForm(request.GET if "counts" in request.GET else None, initial={"counts": lines})
    counts = form.cleaned_data["counts"] if form.is_valid() else read_lines(lines)[0]
    context = {
        "method": METHODS[method_key],
        "tables": tables_of(method_key),
        "form": form,
        # A mistake shows no score: one of other lines would be taken for the answer.
        "example": None if form.errors else score_example(method_key, counts),
    }
    return render(request, "portal/method_detail.html", context, status=422 if form.errors else 200)
