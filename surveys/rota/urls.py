"""Addresses of the rota: for members, for coordinators, and behind signed links."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from surveys.rota import api
from surveys.rota.views import availability, draft, feeds, links, visits

visit_pages: list[URLPattern | URLResolver] = [
    path("", visits.planned_visit, name="planned_visit"),
    path("move/", visits.visit_move, name="visit_move"),
    path("people/", visits.visit_person_add, name="visit_person_add"),
    path("call-off/", visits.visit_call_off, name="visit_call_off"),
    path("cover/", visits.visit_cover_ask, name="visit_cover_ask"),
]
place_pages: list[URLPattern | URLResolver] = [
    path("yes/", visits.place_accept, name="place_accept"),
    path("no/", visits.place_decline, name="place_decline"),
    path("swap/", visits.place_swap, name="place_swap"),
    path("take-off/", visits.place_take_off, name="place_take_off"),
]
rota_pages: list[URLPattern | URLResolver] = [
    path("", visits.rota_page, name="rota_page"),
    path("draft/", draft.rota_draft, name="rota_draft"),
    path("draft/publish/", draft.rota_publish, name="rota_publish"),
    path("draft/discard/", draft.rota_discard, name="rota_discard"),
    path("draft/visits/", draft.rota_visit_add, name="rota_visit_add"),
    path("visits/<uuid:planned_id>/", include(visit_pages)),
    path("places/<uuid:place_id>/", include(place_pages)),
    path("cover/<uuid:offer_id>/", visits.cover_take, name="cover_take"),
    path("me/", availability.availability_edit, name="availability_edit"),
    path("me/days/", availability.named_days_add, name="named_days_add"),
    path("me/days/<uuid:days_id>/remove/", availability.named_days_remove, name="named_days_remove"),
    path("calendar/", feeds.feed_renew, name="feed_renew"),
    path("calendar/group/", feeds.group_feed_renew, name="group_feed_renew"),
]
PLACE = "api/v1/groups/<slug:slug>/places/<uuid:place_id>/"
urlpatterns: list[URLPattern | URLResolver] = [
    path("groups/<slug:slug>/rota/", include(rota_pages)),
    path("api/v1/groups/<slug:slug>/places/", api.ApiPlaces.as_view(), name="api_places"),
    path(f"{PLACE}accept/", api.ApiPlaceAccept.as_view(), name="api_place_accept"),
    path(f"{PLACE}decline/", api.ApiPlaceDecline.as_view(), name="api_place_decline"),
    # Behind a signed link, whose holder needs no session.
    path("rota/<str:token>/", links.rota_link, name="rota_link"),
    path("rota/<str:token>/yes/", links.rota_link_accept, name="rota_link_accept"),
    path("rota/<str:token>/no/", links.rota_link_decline, name="rota_link_decline"),
    path("rota/<str:token>/swap/", links.rota_link_swap, name="rota_link_swap"),
    path("cover/<str:token>/", links.cover_link, name="cover_link"),
    path("cover/<str:token>/take/", links.cover_link_take, name="cover_link_take"),
    path("swap/<str:token>/", links.swap_link, name="swap_link"),
    path("swap/<str:token>/agree/", links.swap_link_agree, name="swap_link_agree"),
    path("swap/<str:token>/refuse/", links.swap_link_refuse, name="swap_link_refuse"),
    path("reminders/<str:token>/", links.reminders_link, name="reminders_link"),
    path("reminders/<str:token>/on/", links.reminders_link_on, name="reminders_link_on"),
    path("calendar/<str:token>.ics", feeds.rota_calendar, name="rota_calendar"),
]
