"""Pages of sites, visits and their review; other files add spreadsheets and the interface for programs."""

from django.urls import URLPattern, URLResolver, include, path

from surveys.views import (
    agreement,
    changes,
    drafts,
    lists,
    permissions,
    photos,
    questions,
    rescoring,
    review,
    rules,
    sites,
    visits,
)

site_pages: list[URLPattern | URLResolver] = [
    path("", sites.site_list, name="site_list"),
    path("new/", sites.site_create, name="site_create"),
    path("<uuid:site_id>/", sites.site_detail, name="site_detail"),
    path("<uuid:site_id>/change/", changes.site_change, name="site_change"),
    path("<uuid:site_id>/edit/", sites.site_edit, name="site_edit"),
    path("<uuid:site_id>/visits/start/", drafts.visit_start, name="visit_start"),
    path("<uuid:site_id>/permission/", permissions.permission_renew, name="permission_renew"),
]
list_pages: list[URLPattern | URLResolver] = [
    path("", lists.list_list, name="list_list"),
    path("new/", lists.list_create, name="list_create"),
    path("<uuid:list_id>/", lists.list_detail, name="list_detail"),
    path("<uuid:list_id>/edit/", lists.list_edit, name="list_edit"),
    path("<uuid:list_id>/retire/", lists.list_retire, name="list_retire"),
]
draft_pages: list[URLPattern | URLResolver] = [
    path("", drafts.visit_submit, name="visit_submit"),
    path("save/", drafts.draft_save, name="draft_save"),
    path("discard/", drafts.draft_discard, name="draft_discard"),
    path("photos/", photos.photo_add, name="photo_add"),
]
visit_pages: list[URLPattern | URLResolver] = [
    path("", visits.visit_detail, name="visit_detail"),
    path("mend/", visits.visit_mend, name="visit_mend"),
    path("review/", review.visit_review, name="visit_review"),
    path("approve/", review.visit_approve, name="visit_approve"),
    path("return/", review.visit_return, name="visit_return"),
    path("correct/", review.visit_correct, name="visit_correct"),
    path("ask/", questions.visit_ask, name="visit_ask"),
]
urlpatterns: list[URLPattern | URLResolver] = [
    path("groups/<slug:slug>/sites/", include(site_pages)),
    path("groups/<slug:slug>/rules/", rules.rule_counts_list, name="rule_counts_list"),
    path("groups/<slug:slug>/agreement/", agreement.agreement_list, name="agreement_list"),
    path("groups/<slug:slug>/lists/", include(list_pages)),
    path("groups/<slug:slug>/rescoring/", rescoring.rescore_list, name="rescore_list"),
    path("groups/<slug:slug>/drafts/<uuid:draft_id>/", include(draft_pages)),
    path("groups/<slug:slug>/photos/<uuid:photo_id>/", photos.photo_file, name="photo_file"),
    path("groups/<slug:slug>/photos/<uuid:photo_id>/remove/", photos.photo_remove, name="photo_remove"),
    path("groups/<slug:slug>/visits/", visits.visit_list, name="visit_list"),
    path("groups/<slug:slug>/visits/<uuid:visit_id>/", include(visit_pages)),
    path("groups/<slug:slug>/findings/<uuid:finding_id>/decide/", review.finding_decide, name="finding_decide"),
    path("groups/<slug:slug>/review/", review.review_queue, name="review_queue"),
    path("groups/<slug:slug>/review/approve/", review.visits_approve, name="visits_approve"),
    path("groups/<slug:slug>/questions/<uuid:question_id>/", questions.question_answer, name="question_answer"),
    path("questions/<str:token>/", questions.question_link, name="question_link"),
    path("methods/rules/", rules.rules_table, name="rules_table"),
    path("", include("surveys.urls_bank")),
    path("", include("surveys.urls_outings")),
    path("", include("surveys.urls_imports")),
    path("", include("surveys.exporting.urls")),
    path("", include("surveys.urls_api")),
]
