"""Addresses of what surrounds a visit: rules of going out, kits, rivers, safe returns and the paper sheet."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from surveys.views import kits, outings, paper, return_links, safe_returns

kit_pages: list[URLPattern | URLResolver] = [
    path("", kits.kit_list, name="kit_list"),
    path("new/", kits.kit_create, name="kit_create"),
    path("<uuid:kit_id>/", kits.kit_detail, name="kit_detail"),
    path("<uuid:kit_id>/edit/", kits.kit_edit, name="kit_edit"),
    path("<uuid:kit_id>/clean/", kits.kit_clean, name="kit_clean"),
]
site_pages: list[URLPattern | URLResolver] = [
    path("river/", outings.river_report, name="river_report"),
    path("river/lift/", outings.river_lift, name="river_lift"),
    path("safe-return/", safe_returns.safe_return_start, name="safe_return_start"),
    path("sheet/", paper.record_sheet, name="record_sheet"),
]
return_pages: list[URLPattern | URLResolver] = [
    path("", safe_returns.safe_return_list, name="safe_return_list"),
    path("<uuid:return_id>/", safe_returns.safe_return_detail, name="safe_return_detail"),
    path("<uuid:return_id>/extend/", safe_returns.safe_return_extend, name="safe_return_extend"),
    path("<uuid:return_id>/end/", safe_returns.safe_return_end, name="safe_return_end"),
]
urlpatterns: list[URLPattern | URLResolver] = [
    path("groups/<slug:slug>/outings/", outings.outing_rules, name="outing_rules"),
    path("groups/<slug:slug>/outings/edit/", outings.outing_rules_edit, name="outing_rules_edit"),
    path("groups/<slug:slug>/kits/", include(kit_pages)),
    path("groups/<slug:slug>/sites/<uuid:site_id>/", include(site_pages)),
    path("groups/<slug:slug>/safe-returns/", include(return_pages)),
    # Behind a signed link, whose holder needs no account.
    path("safe-return/<str:token>/", return_links.return_link, name="return_link"),
    path("safe-return/<str:token>/end/", return_links.return_link_end, name="return_link_end"),
    path("safe-return/<str:token>/extend/", return_links.return_link_extend, name="return_link_extend"),
]
