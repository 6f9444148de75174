"""Addresses of triggers, contacts, incidents and the pages behind signed links."""

from django.urls import path

from alerts.api import incidents as incidents_api
from alerts.api import verdicts as verdicts_api
from alerts.views import (
    contacts,
    drills,
    evidence,
    forwards,
    incidents,
    links,
    outcomes,
    policies,
    repeats,
    triggers,
    verdicts,
)

urlpatterns = [
    path("groups/<slug:slug>/sites/<uuid:site_id>/trigger/", triggers.trigger_set, name="trigger_set"),
    path("groups/<slug:slug>/sites/<uuid:site_id>/contacts/", contacts.site_contacts, name="site_contacts"),
    path("groups/<slug:slug>/contacts/", contacts.contact_list, name="contact_list"),
    path("groups/<slug:slug>/contacts/new/", contacts.contact_create, name="contact_create"),
    path("groups/<slug:slug>/contacts/<uuid:contact_id>/", contacts.contact_edit, name="contact_edit"),
    path("groups/<slug:slug>/contacts/<uuid:contact_id>/hours/", policies.contact_hours, name="contact_hours"),
    path("groups/<slug:slug>/contacts/<uuid:contact_id>/away/", policies.absence_add, name="absence_add"),
    path(
        "groups/<slug:slug>/contacts/<uuid:contact_id>/away/<uuid:absence_id>/remove/",
        policies.absence_remove,
        name="absence_remove",
    ),
    path("groups/<slug:slug>/contacts/<uuid:contact_id>/rehearse/", drills.drill_send, name="drill_send"),
    path("groups/<slug:slug>/rehearsals/", drills.drill_list, name="drill_list"),
    path("rehearsal/<str:token>/", drills.drill_page, name="drill_page"),
    path("rehearsal/<str:token>/acknowledge/", drills.drill_acknowledge, name="drill_acknowledge"),
    path("groups/<slug:slug>/alert-policy/", policies.alert_policy, name="alert_policy"),
    path("groups/<slug:slug>/holidays/", policies.holiday_add, name="holiday_add"),
    path(
        "groups/<slug:slug>/holidays/<uuid:holiday_id>/remove/", policies.holiday_remove, name="holiday_remove"
    ),
    path("groups/<slug:slug>/sites/<uuid:site_id>/quiet/", policies.quiet_set, name="quiet_set"),
    path(
        "groups/<slug:slug>/sites/<uuid:site_id>/quiet/<uuid:quiet_id>/end/",
        policies.quiet_end,
        name="quiet_end",
    ),
    path("groups/<slug:slug>/incidents/", incidents.incident_list, name="incident_list"),
    path(
        "groups/<slug:slug>/visits/<uuid:visit_id>/test-anyway/",
        verdicts.visit_test_anyway,
        name="visit_test_anyway",
    ),
    path("groups/<slug:slug>/outcomes/", outcomes.outcome_list, name="outcome_list"),
    path("groups/<slug:slug>/outcomes/<uuid:outcome_id>/", outcomes.outcome_change, name="outcome_change"),
    path("incidents/", incidents.contact_incidents, name="contact_incidents"),
    path("incidents/<uuid:incident_id>/", incidents.incident_detail, name="incident_detail"),
    path(
        "incidents/<uuid:incident_id>/acknowledge/", incidents.incident_acknowledge, name="incident_acknowledge"
    ),
    path(
        "incidents/<uuid:incident_id>/investigate/",
        incidents.incident_investigate,
        name="incident_investigate",
    ),
    path("incidents/<uuid:incident_id>/forward/", forwards.incident_forward, name="incident_forward"),
    path(
        "incidents/<uuid:incident_id>/forwards/<uuid:forward_id>/revoke/",
        forwards.forward_revoke,
        name="forward_revoke",
    ),
    path("incidents/<uuid:incident_id>/evidence.pdf", evidence.incident_evidence, name="incident_evidence"),
    path("incidents/<uuid:incident_id>/repeat/", repeats.repeat_ask, name="repeat_ask"),
    path("incidents/<uuid:incident_id>/repeat/take/", repeats.repeat_take, name="repeat_take"),
    path("incidents/<uuid:incident_id>/repeat/give-back/", repeats.repeat_give_back, name="repeat_give_back"),
    path("incidents/<uuid:incident_id>/note/", incidents.incident_note, name="incident_note"),
    path("incidents/<uuid:incident_id>/close/", incidents.incident_close, name="incident_close"),
    path(
        "incidents/<uuid:incident_id>/renew-links/", incidents.incident_renew_links, name="incident_renew_links"
    ),
    path(
        "incidents/<uuid:incident_id>/photos/<uuid:photo_id>/", incidents.incident_photo, name="incident_photo"
    ),
    path("alert/<str:token>/", links.alert_page, name="alert_page"),
    path("alert/<str:token>/acknowledge/", links.alert_acknowledge, name="alert_acknowledge"),
    path("alert/<str:token>/investigate/", links.alert_investigate, name="alert_investigate"),
    path("alert/<str:token>/forward/", links.alert_forward, name="alert_forward"),
    path("alert/<str:token>/evidence.pdf", evidence.alert_evidence, name="alert_evidence"),
    path("repeat/<str:token>/", repeats.repeat_link, name="repeat_link"),
    path("repeat/<str:token>/take/", repeats.repeat_link_take, name="repeat_link_take"),
    path("repeat/<str:token>/give-back/", repeats.repeat_link_give_back, name="repeat_link_give_back"),
    path("alert/<str:token>/outcome/", links.alert_outcome, name="alert_outcome"),
    path("alert/<str:token>/photos/<uuid:photo_id>/", links.alert_photo, name="alert_photo"),
    path("api/v1/groups/<slug:slug>/incidents/", incidents_api.ApiIncidents.as_view(), name="api_incidents"),
    path(
        "api/v1/groups/<slug:slug>/incidents/<uuid:incident_id>/",
        incidents_api.ApiIncident.as_view(),
        name="api_incident",
    ),
    path(
        "api/v1/groups/<slug:slug>/incidents/<uuid:incident_id>/acknowledge/",
        incidents_api.ApiIncidentAcknowledge.as_view(),
        name="api_incident_acknowledge",
    ),
    path(
        "api/v1/groups/<slug:slug>/incidents/<uuid:incident_id>/note/",
        incidents_api.ApiIncidentNote.as_view(),
        name="api_incident_note",
    ),
    path(
        "api/v1/groups/<slug:slug>/sites/<uuid:site_id>/trigger/",
        incidents_api.ApiSiteTrigger.as_view(),
        name="api_site_trigger",
    ),
    path(
        "api/v1/groups/<slug:slug>/visits/<uuid:number>/verdict/",
        verdicts_api.ApiVerdict.as_view(),
        name="api_verdict",
    ),
]
