"""Addresses of the programming interface."""

from django.urls import path
from drf_spectacular.views import SpectacularAPIView

from surveys.api import exports, imports, photos, questions, review, sites, views
from surveys.views import api_docs

GROUP = "api/v1/groups/<slug:slug>/"
VISIT = f"{GROUP}visits/<uuid:number>/"
IMPORT = f"{GROUP}imports/<uuid:run_id>/"

urlpatterns = [
    path("api/docs/", api_docs.api_docs, name="api_docs"),
    path("api/schema/", SpectacularAPIView.as_view(), name="api_schema"),
    path("api/v1/groups/", views.ApiGroups.as_view(), name="api_groups"),
    path("api/v1/groups/<slug:slug>/sites/", views.ApiSites.as_view(), name="api_sites"),
    path(f"{GROUP}sites/<uuid:site_id>/", sites.ApiSite.as_view(), name="api_site"),
    path(f"{VISIT}approve/", review.ApiVisitApprove.as_view(), name="api_visit_approve"),
    path(f"{VISIT}return/", review.ApiVisitReturn.as_view(), name="api_visit_return"),
    path(f"{VISIT}correct/", review.ApiVisitCorrect.as_view(), name="api_visit_correct"),
    path(
        f"{GROUP}findings/<uuid:finding_id>/decide/",
        review.ApiFindingDecide.as_view(),
        name="api_finding_decide",
    ),
    path(f"{GROUP}exports/", exports.ApiExports.as_view(), name="api_exports"),
    path(f"{GROUP}jobs/<uuid:job_id>/", exports.ApiJob.as_view(), name="api_job"),
    path(f"{GROUP}jobs/<uuid:job_id>/file/", exports.ApiJobFile.as_view(), name="api_job_file"),
    path(f"{GROUP}imports/", imports.ApiImports.as_view(), name="api_imports"),
    path(f"{IMPORT}", imports.ApiImport.as_view(), name="api_import"),
    path(f"{IMPORT}plan/", imports.ApiImportPlan.as_view(), name="api_import_plan"),
    path(f"{IMPORT}check/", imports.ApiImportCheck.as_view(), name="api_import_check"),
    path(f"{IMPORT}errors/", imports.ApiImportErrors.as_view(), name="api_import_errors"),
    path(f"{IMPORT}load/", imports.ApiImportLoad.as_view(), name="api_import_load"),
    path(f"{IMPORT}undo/", imports.ApiImportUndo.as_view(), name="api_import_undo"),
    path(f"{VISIT}questions/", questions.ApiQuestions.as_view(), name="api_questions"),
    path(
        f"{GROUP}questions/<uuid:question_id>/answer/",
        questions.ApiQuestionAnswer.as_view(),
        name="api_question_answer",
    ),
    path("api/v1/groups/<slug:slug>/lists/", views.ApiLists.as_view(), name="api_lists"),
    path("api/v1/groups/<slug:slug>/visits/", views.ApiVisits.as_view(), name="api_visits"),
    path("api/v1/groups/<slug:slug>/visits/<uuid:number>/", views.ApiVisit.as_view(), name="api_visit"),
    path(
        "api/v1/groups/<slug:slug>/visits/<uuid:number>/photos/<uuid:photo_number>/",
        photos.ApiVisitPhoto.as_view(),
        name="api_visit_photo",
    ),
]
