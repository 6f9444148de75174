"""Addresses of the public pages, and of the catchments that groups share."""

from django.urls import URLPattern, URLResolver, path

from portal.public import catchment_views, feeds, indexing, views

GROUP = "public/<slug:slug>/"
OWN = "groups/<slug:slug>/catchments/"

urlpatterns: list[URLPattern | URLResolver] = [
    path("robots.txt", indexing.robots, name="robots"),
    path("sitemap.xml", indexing.sitemap, name="sitemap"),
    path("public/catchments/<uuid:catchment_id>/", catchment_views.public_catchment, name="public_catchment"),
    path(GROUP, views.public_group, name="public_group"),
    path(f"{GROUP}sites/<uuid:site_id>/", views.public_site, name="public_site"),
    path(f"{GROUP}reports/", views.public_report_list, name="public_report_list"),
    path(f"{GROUP}data/", views.public_data, name="public_data"),
    path(f"{GROUP}data/<str:file_name>", views.public_data_file, name="public_data_file"),
    path(f"{GROUP}feed.atom", feeds.public_feed, name="public_feed"),
    path("groups/<slug:slug>/open-data/", views.open_data_make, name="open_data_make"),
    path(OWN, catchment_views.catchment_list, name="catchment_list"),
    path(f"{OWN}found/", catchment_views.catchment_found, name="catchment_found"),
    path(f"{OWN}join/", catchment_views.catchment_join, name="catchment_join"),
    path(f"{OWN}<uuid:share_id>/", catchment_views.catchment_edit, name="catchment_edit"),
    path(f"{OWN}<uuid:share_id>/leave/", catchment_views.catchment_leave, name="catchment_leave"),
]
