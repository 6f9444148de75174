"""Questions about a visit: asked on its review page, answered on its own page or by the link in the mail."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from portal.accounts.access import require
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, posted
from portal.accounts.signed_links import by_link
from surveys.errors import NotPossible
from surveys.forms.questions import AnswerForm, QuestionForm
from surveys.models import VisitQuestion
from surveys.review.links import read_question
from surveys.services.questions import answer_by_link, answer_question, ask_recorder
from surveys.views.review import show_review
from surveys.views.shared import find_visit

by_question = by_link(read_question, "surveys/question_gone.html")


@login_required
@require_POST
def visit_ask(request: PortalRequest, slug: str, visit_id: UUID) -> HttpResponse:
    """Ask the recorder; the answer appears in the same place."""
    group = enter(request, slug, "visit.review")
    visit = find_visit(request.person, group, visit_id, "question.ask")
    form = QuestionForm(request.POST)
    if not form.is_valid():
        return show_review(request, visit, question_form=form)
    try:
        asked = ask_recorder(person=request.person, visit=visit, text=form.cleaned_data["question"])
    except NotPossible as refusal:
        form.add_error(refusal.field or None, refusal.message)
        return show_review(request, visit, question_form=form)
    messages.success(request, _("Your question is on its way to %(name)s.") % {"name": asked.asked_of.name})
    return redirect(f"{resolve_url('visit_review', slug=slug, visit_id=visit.pk)}#questions")


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def question_answer(request: PortalRequest, slug: str, question_id: UUID) -> HttpResponse:
    """The question and a place for the answer, for the person asked."""
    group = enter(request, slug, "visit.view")
    rows = VisitQuestion.objects.of_group(group)
    question = get_object_or_404(rows.select_related("visit__site", "visit__group", "asked_by"), id=question_id)
    require(request.person, "question.answer", question)
    return _answered(
        request, question, lambda text: answer_question(person=request.person, question=question, text=text)
    )


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
@by_question
def question_link(request: HttpRequest, question: VisitQuestion) -> HttpResponse:
    """The same by the signed link, without signing in. Reading it answers nothing."""
    return _answered(request, question, lambda text: answer_by_link(question=question, text=text), by_mail=True)


def _answered(
    request: HttpRequest, question: VisitQuestion, save: Callable[[str], VisitQuestion], by_mail: bool = False
) -> HttpResponse:
    """The page of a question; `save` takes the answer that was posted."""
    form = AnswerForm(posted(request))
    if form.is_bound and form.is_valid():
        try:
            save(form.cleaned_data["answer"])
        except NotPossible as refusal:
            form.add_error(refusal.field or None, refusal.message)
        else:
            return _thanked(request, question, by_mail)
    context = {"question": question, "visit": question.visit, "form": form, "by_mail": by_mail}
    return render(request, "surveys/question_answer.html", context, status=422 if form.errors else 200)


def _thanked(request: HttpRequest, question: VisitQuestion, by_mail: bool) -> HttpResponse:
    if by_mail:
        return redirect(request.path)
    messages.success(request, _("Thank you. Your answer stands beside the visit."))
    return redirect("visit_detail", slug=question.visit.group.slug, visit_id=question.visit_id)
