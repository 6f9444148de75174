"""Addresses of the pages about people."""

from django.urls import URLPattern, URLResolver, include, path

from surveys.people.views import asking, emergency, enquiries, own, persons, trainings

own_pages: list[URLPattern | URLResolver] = [
    path("", own.own_record, name="own_record"),
    path("emergency/", own.emergency_edit, name="emergency_edit"),
    path("emergency/erase/", own.emergency_erase, name="emergency_erase"),
    path("hours/", own.hours_add, name="hours_add"),
    path("hours/<uuid:hours_id>/remove/", own.hours_remove, name="hours_remove"),
    path("naming/", own.naming_choose, name="naming_choose"),
    path("leave/", own.membership_leave, name="membership_leave"),
]
person_pages: list[URLPattern | URLResolver] = [
    path("record/", persons.person_detail, name="person_detail"),
    path("guardian/", persons.guardian_edit, name="guardian_edit"),
    path("guardian/clear/", persons.guardian_clear, name="guardian_clear"),
    path("training/", trainings.training_record, name="training_record"),
    path("end/", persons.membership_end, name="membership_end"),
    path("back/", persons.membership_back, name="membership_back"),
]
training_pages: list[URLPattern | URLResolver] = [
    path("", trainings.training_list, name="training_list"),
    path("kinds/", trainings.kind_list, name="kind_list"),
    path("kinds/usual/", trainings.kinds_usual, name="kinds_usual"),
    path("kinds/<uuid:kind_id>/", trainings.kind_edit, name="kind_edit"),
    path("<uuid:training_id>/withdraw/", trainings.training_withdraw, name="training_withdraw"),
]
enquiry_pages: list[URLPattern | URLResolver] = [
    path("", enquiries.enquiry_list, name="enquiry_list"),
    path("new/", asking.enquiry_write, name="enquiry_write"),
    path("<uuid:enquiry_id>/", enquiries.enquiry_detail, name="enquiry_detail"),
    path("<uuid:enquiry_id>/answer/", enquiries.enquiry_answer, name="enquiry_answer"),
    path("<uuid:enquiry_id>/invite/", enquiries.enquiry_invite, name="enquiry_invite"),
    path("<uuid:enquiry_id>/came/", enquiries.enquiry_came, name="enquiry_came"),
    path("<uuid:enquiry_id>/offer/", enquiries.enquiry_offer, name="enquiry_offer"),
    path("<uuid:enquiry_id>/decline/", enquiries.enquiry_decline, name="enquiry_decline"),
    path("<uuid:enquiry_id>/reopen/", enquiries.enquiry_reopen, name="enquiry_reopen"),
]
urlpatterns: list[URLPattern | URLResolver] = [
    path("groups/<slug:slug>/people/me/", include(own_pages)),
    path("groups/<slug:slug>/people/former/", persons.former_list, name="former_list"),
    path("groups/<slug:slug>/people/hours/", persons.hours_list, name="hours_list"),
    path("groups/<slug:slug>/people/trainings/", include(training_pages)),
    path("groups/<slug:slug>/people/enquiries/", include(enquiry_pages)),
    path("groups/<slug:slug>/people/<uuid:membership_id>/", include(person_pages)),
    path(
        "groups/<slug:slug>/safe-returns/<uuid:return_id>/emergency/",
        emergency.emergency_look,
        name="emergency_look",
    ),
    path("public/<slug:slug>/join/", asking.enquiry_ask, name="enquiry_ask"),
    # Behind a signed link, whose holder needs no account.
    path("enquiry/<str:token>/", asking.enquiry_link, name="enquiry_link"),
    path("enquiry/<str:token>/confirm/", asking.enquiry_confirm, name="enquiry_confirm"),
    path("enquiry/<str:token>/erase/", asking.enquiry_erase, name="enquiry_erase"),
]
