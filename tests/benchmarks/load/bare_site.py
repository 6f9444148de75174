"""One page with one query: twenty sites of a group, as a list."""

from __future__ import annotations

from django.core.wsgi import get_wsgi_application
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.engine import Engine
from django.template.loaders.locmem import Loader
from django.urls import path

application = get_wsgi_application()

from portal.accounts.walls import wide  # noqa: E402
from surveys.models import Site  # noqa: E402

PAGE = """<!doctype html><html lang="en"><title>Sites</title><h1>Sites</h1><ul>
{% for site in sites %}
<li><a href="/{{ site.pk }}/">{{ site.code }} {{ site.name }}</a> {{ site.river }}</li>
{% endfor %}</ul></html>"""


class OneTemplate(Loader):
    def __init__(self, engine: Engine) -> None:
        super().__init__(engine, {"page.html": PAGE})


def page(request: HttpRequest, slug: str) -> HttpResponse:
    with wide("a benchmark without the portal's own walls"):
        sites = list(Site.objects.across_groups("a benchmark").filter(group__slug=slug)[:20])
    return render(request, "page.html", {"sites": sites})


urlpatterns = [path("<slug:slug>/", page)]
