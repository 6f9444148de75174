"""Addresses of the bank pages: everything that one service worker keeps for when there is no network."""

from django.urls import URLPattern, path

from surveys.views import bank, bank_app, bank_key, bank_timer

urlpatterns: list[URLPattern] = [
    path("bank/", bank.bank_home, name="bank_home"),
    path("bank/<slug:slug>/sites/<uuid:site_id>/", bank.bank_site, name="bank_site"),
    path("bank/<slug:slug>/sites/<uuid:site_id>/visit/", bank.bank_visit, name="bank_visit"),
    path("bank/key/", bank_key.bank_key, name="bank_key"),
    path("bank/timer/", bank_timer.bank_timer, name="bank_timer"),
    path("bank/state/", bank_app.bank_state, name="bank_state"),
    path("bank/offline/", bank_app.bank_offline, name="bank_offline"),
    path("bank/worker.js", bank_app.bank_worker, name="bank_worker"),
    path("bank/manifest.webmanifest", bank_app.bank_manifest, name="bank_manifest"),
    path("bank/icons/<slug:name>.png", bank_app.bank_icon, name="bank_icon"),
]
