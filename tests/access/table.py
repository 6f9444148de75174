"""Who gets what answer at which address: the one table of expectations.

A policy is the answer of each role, in the order of `ROLES`. "ok" is any answer of somebody who was let in (the
page, a redirect onwards, a form that names its mistakes); "login" sends to the sign-in page. A method that an
address does not list is refused with 405 to whoever is past the sign-in.
"""

from __future__ import annotations

from collections.abc import Mapping

from tests.access.world import ROLES

Policy = Mapping[str, str]


def policy(answers: str, reviewer: str = "") -> Policy:
    """The answers given, one for each of `ROLES` but for the last three.

    The guest reviewer's answer, unless given, is that of anybody signed in: a group's page is none of theirs.
    Another group's volunteer gets what its coordinator gets, its agency contact what a former member does.
    """
    told = dict(zip(ROLES[:-3], answers.split(), strict=True))
    is_of_group = told["neighbour"] == "404" != told["coordinator"]
    told |= {"other_volunteer": told["neighbour"], "other_contact": told["former"]}
    return told | {"reviewer": reviewer or ("403" if is_of_group else told["neighbour"])}


def also_reviewer(who: Policy) -> Policy:
    """The same, with the guest reviewer let in: what checking visits needs."""
    return {**who, "reviewer": "ok"}


# "involved" is a coordinator who took part in the visit: nobody checks their own work.
#                       nobody volunteer coordinator involved neighbour contact former inactive operator
OPEN = policy("         ok     ok        ok          ok       ok        ok      ok     ok       ok")
HIDDEN = policy("       404    404       404         404      404       404     404    404      404")
SIGNED_IN = policy("    login  ok        ok          ok       ok        ok      ok     login    ok")
MEMBER = policy("       login  ok        ok          ok       404       404     404    login    404")
COORDINATOR = policy("  login  403       ok          ok       404       404     404    login    404")
SHARERS = policy("      login  ok        ok          ok       ok        404     404    login    404", "403")
UNINVOLVED = policy("   login  403       ok          403      404       404     404    login    404")
AUTHOR = policy("       login  ok        403         403      404       404     404    login    404")
INCIDENT = policy("     login  ok        ok          ok       404       ok      404    login    404")
INCIDENT_ACT = policy(" login  403       ok          ok       404       ok      404    login    404")
INCIDENT_RUN = policy(" login  403       ok          ok       404       403     404    login    404")
INCIDENT_GO = policy("  login  ok        ok          ok       404       403     404    login    404")
CONTACT_ONLY = policy(" login  403       403         403      404       ok      404    login    404")
PHONE = policy("        401    ok        ok          ok       ok        ok      ok     401      ok")
API_SIGNED_IN = policy("401    ok        ok          ok       ok        ok      ok     401      ok")
API_MEMBER = policy("   401    ok        ok          ok       404       404     404    401      404")
API_CHECK = policy("    401    403       ok          403      404       404     404    401      404", "ok")
API_CARE = policy("     401    403       ok          ok       404       404     404    401      404")
API_AUTHOR = policy("   401    ok        403         403      404       404     404    401      404")
# What belongs to a volunteer alone is not even told to exist to another member.
ONE_S_OWN = policy("    login  ok        404         404      404       404     404    login    404", "403")
INSIDER, CHECKER = also_reviewer(MEMBER), also_reviewer(COORDINATOR)
UNINVOLVED_CHECKER = also_reviewer(UNINVOLVED)

Methods = Mapping[str, Policy]


def page(who: Policy) -> Methods:
    """A page that is only read."""
    return {"get": who, "head": who}


def form(who: Policy, sender: Policy | None = None) -> Methods:
    """A page with a form that it takes itself."""
    return {**page(who), "post": sender or who}


def button(who: Policy) -> Methods:
    """An address that only acts."""
    return {"post": who}


def program(who: Policy, **methods: Policy) -> Methods:
    """An address of the programming interface; OPTIONS tells what it takes, and nothing of the group."""
    return {**page(who), "options": API_SIGNED_IN, **methods}


def sending(who: Policy) -> Methods:
    """An address of the programming interface that only takes something."""
    return {"post": who, "options": API_SIGNED_IN}


TABLE: Mapping[str, Methods] = {
    # the shell
    "home": page(OPEN),
    "group_desk": page(INSIDER),
    "public_group": page(OPEN),
    "public_site": page(OPEN),
    "public_report_list": page(OPEN),
    "public_data": page(OPEN),
    "public_data_file": page(OPEN),
    "public_feed": page(OPEN),
    # Shared by the group, which publishes, and its neighbour, which does not.
    "public_catchment": page(SHARERS),
    "robots": page(OPEN),
    "sitemap": page(OPEN),
    "open_data_make": button(COORDINATOR),
    "catchment_list": page(MEMBER),
    "catchment_found": form(COORDINATOR),
    "catchment_join": form(COORDINATOR),
    "catchment_edit": form(COORDINATOR),
    "catchment_leave": button(COORDINATOR),
    "methods": page(OPEN),
    "method_detail": page(OPEN),
    "health": page(OPEN),
    "metrics": page(HIDDEN),
    "style_guide": page(OPEN),
    "demo_inbox": page(HIDDEN),
    "demo_mail": page(HIDDEN),
    # what is kept of people; whoever is let in is first asked for the password again
    "privacy_page": page(OPEN),
    "own_data": form(SIGNED_IN),
    "own_data_file": page(SIGNED_IN),
    "erasure_ask": form(SIGNED_IN),
    "erasure_stop": form(OPEN),
    "person_erase": form(COORDINATOR),
    "keeping_terms": form(COORDINATOR),
    # people
    "invitation_accept": form(OPEN),
    "people_list": page(MEMBER),
    "invitation_send": form(COORDINATOR),
    "invitation_revoke": button(COORDINATOR),
    "membership_change": form(COORDINATOR),
    "group_edit": form(COORDINATOR),
    # sites and visits
    "site_list": page(INSIDER),
    "site_create": form(COORDINATOR),
    "site_detail": page(INSIDER),
    "site_edit": form(COORDINATOR),
    "permission_renew": form(COORDINATOR),
    "site_change": page(INSIDER),
    "list_list": page(INSIDER),
    "list_create": form(COORDINATOR),
    "list_detail": page(INSIDER),
    "list_edit": form(COORDINATOR),
    "list_retire": form(COORDINATOR),
    "visit_start": button(MEMBER),
    "visit_submit": form(AUTHOR),
    "draft_save": button(AUTHOR),
    "draft_discard": button(AUTHOR),
    "photo_add": button(AUTHOR),
    "photo_file": page(INSIDER),
    "photo_remove": button(AUTHOR),
    "visit_list": page(INSIDER),
    "visit_detail": page(INSIDER),
    "visit_mend": form(AUTHOR),
    "rules_table": page(OPEN),
    # on the bank
    "bank_home": page(SIGNED_IN),
    "bank_site": page(MEMBER),
    "bank_visit": page(MEMBER),
    "bank_key": page(OPEN),
    "bank_state": page(PHONE),
    "bank_offline": page(OPEN),
    "bank_timer": page(OPEN),
    "bank_worker": page(OPEN),
    "bank_manifest": page(OPEN),
    "bank_icon": page(OPEN),
    # review
    "review_queue": page(CHECKER),
    "visit_review": page(CHECKER),
    "visit_approve": button(UNINVOLVED_CHECKER),
    "visits_approve": button(CHECKER),
    "visit_ask": button(CHECKER),
    "question_answer": form(AUTHOR),
    "question_link": form(OPEN),
    "visit_return": button(UNINVOLVED_CHECKER),
    "visit_correct": form(COORDINATOR),
    "finding_decide": button(UNINVOLVED_CHECKER),
    "rule_counts_list": page(CHECKER),
    "agreement_list": page(INSIDER),
    "rescore_list": form(COORDINATOR),
    # long work
    "job_list": page(MEMBER),
    "job_detail": page(COORDINATOR),
    "job_progress": page(COORDINATOR),
    "job_stop": button(COORDINATOR),
    "job_file": page(COORDINATOR),
    # spreadsheets and programs
    "import_visits": form(COORDINATOR),
    "import_template": page(COORDINATOR),
    # A guest sees a sheet once it is loaded: tests/surveys/imports/test_pages.py.
    "import_detail": page(COORDINATOR),
    "import_check": button(COORDINATOR),
    "import_map": form(COORDINATOR),
    "import_errors": page(COORDINATOR),
    "import_undo": button(COORDINATOR),
    "import_load": button(COORDINATOR),
    "export_make": form(MEMBER),
    "archive_make": button(COORDINATOR),
    "publishing_terms": form(COORDINATOR),
    "import_approve": button(CHECKER),
    "api_schema": {**page(OPEN), "options": OPEN},
    "language_choose": form(SIGNED_IN),
    "account_trail": page(SIGNED_IN),
    "group_trail": page(COORDINATOR),
    "portal_trail": page(policy("login 404 404 404 404 404 404 login ok", "404")),
    "key_list": form(SIGNED_IN),
    "key_revoke": button(policy("login ok 404 404 404 404 404 login 404", "404")),
    "api_docs": page(OPEN),
    "api_groups": program(API_SIGNED_IN),
    "api_sites": program(API_MEMBER, post=API_CARE),
    "api_site": program(API_MEMBER, patch=API_CARE),
    "api_site_trigger": program(API_MEMBER),
    "api_visit_approve": sending(API_CHECK),
    "api_visit_return": sending(API_CHECK),
    "api_visit_correct": sending(API_CARE),
    "api_finding_decide": sending(API_CHECK),
    "api_exports": sending(API_MEMBER),
    "api_job": program(API_CARE),
    "api_job_file": program(API_CARE),
    "api_imports": program(API_CARE, post=API_CARE),
    "api_import": program(API_CARE),
    "api_import_plan": program(API_CARE, post=API_CARE),
    "api_import_check": sending(API_CARE),
    "api_import_errors": program(API_CARE),
    "api_import_load": sending(API_CARE),
    "api_import_undo": sending(API_CARE),
    "api_questions": program(also_reviewer(API_MEMBER), post=also_reviewer(API_CARE)),
    "api_question_answer": sending(API_AUTHOR),
    "api_places": program(API_MEMBER),
    "api_place_accept": sending(API_AUTHOR),
    "api_place_decline": sending(API_AUTHOR),
    "api_incidents": program(API_MEMBER),
    "api_incident": program(API_MEMBER),
    "api_incident_acknowledge": sending(API_CARE),
    "api_incident_note": sending(API_CARE),
    "api_lists": program(API_MEMBER),
    "api_visits": program(also_reviewer(API_MEMBER)),
    "api_visit": program(also_reviewer(API_MEMBER), put=API_MEMBER),
    "api_visit_photo": {"put": API_MEMBER, "options": API_SIGNED_IN},
    "api_verdict": program(API_MEMBER),
    # triggers, contacts, incidents
    "trigger_set": form(COORDINATOR),
    "site_contacts": form(COORDINATOR),
    "contact_list": page(COORDINATOR),
    "contact_create": form(COORDINATOR),
    "contact_edit": form(COORDINATOR),
    "contact_hours": form(COORDINATOR),
    "absence_add": button(COORDINATOR),
    "absence_remove": button(COORDINATOR),
    "drill_list": page(COORDINATOR),
    "drill_send": button(COORDINATOR),
    "drill_page": page(OPEN),
    "drill_acknowledge": button(OPEN),
    "alert_policy": form(COORDINATOR),
    "holiday_add": button(COORDINATOR),
    "holiday_remove": button(COORDINATOR),
    "quiet_set": form(COORDINATOR),
    "quiet_end": button(COORDINATOR),
    "visit_test_anyway": form(UNINVOLVED),
    "incident_list": page(MEMBER),
    "contact_incidents": page(SIGNED_IN),
    "incident_detail": page(INCIDENT),
    "incident_photo": page(INCIDENT),
    "incident_evidence": page(INCIDENT),
    "incident_acknowledge": button(INCIDENT_ACT),
    "incident_note": button(INCIDENT_ACT),
    "incident_close": button(INCIDENT_ACT),
    "incident_renew_links": button(INCIDENT_RUN),
    "incident_investigate": button(INCIDENT_ACT),
    "incident_forward": button(CONTACT_ONLY),
    "forward_revoke": button(INCIDENT_RUN),
    "repeat_ask": button(INCIDENT_RUN),
    "repeat_take": button(INCIDENT_GO),
    "repeat_give_back": button(INCIDENT_GO),
    "outcome_list": form(COORDINATOR),
    "outcome_change": button(COORDINATOR),
    # what surrounds a visit
    "outing_rules": page(MEMBER),
    "outing_rules_edit": form(COORDINATOR),
    "kit_list": page(MEMBER),
    "kit_create": form(COORDINATOR),
    "kit_detail": page(MEMBER),
    "kit_edit": form(COORDINATOR),
    "kit_clean": form(MEMBER),
    "river_report": form(MEMBER),
    "river_lift": button(MEMBER),
    "record_sheet": page(MEMBER),
    "safe_return_list": page(MEMBER),
    "safe_return_start": form(MEMBER),
    "safe_return_detail": page(MEMBER),
    "safe_return_extend": button(AUTHOR),
    "safe_return_end": button(MEMBER),
    "return_link": page(OPEN),
    "return_link_end": button(OPEN),
    "return_link_extend": button(OPEN),
    # behind a signed link, whose holder needs no account
    "alert_page": page(OPEN),
    "alert_photo": page(OPEN),
    "alert_evidence": page(OPEN),
    "alert_acknowledge": button(OPEN),
    "alert_outcome": button(OPEN),
    "alert_investigate": button(OPEN),
    "alert_forward": button(OPEN),
    "repeat_link": page(OPEN),
    "repeat_link_take": button(OPEN),
    "repeat_link_give_back": button(OPEN),
    # people: oneself, others, trainings, enquiries
    "own_record": page(INSIDER),
    "emergency_edit": form(INSIDER),
    "emergency_erase": button(INSIDER),
    "hours_add": form(INSIDER),
    "hours_remove": button({**ONE_S_OWN, "reviewer": "404"}),
    "naming_choose": button(INSIDER),
    "membership_leave": form(INSIDER),
    "hours_list": page(MEMBER),
    "former_list": page(COORDINATOR),
    "person_detail": page(COORDINATOR),
    "guardian_edit": form(COORDINATOR),
    "guardian_clear": button(COORDINATOR),
    "membership_end": form(COORDINATOR),
    "membership_back": button(COORDINATOR),
    "training_list": page(COORDINATOR),
    "training_record": form(COORDINATOR),
    "training_withdraw": form(COORDINATOR),
    "kind_list": form(COORDINATOR),
    "kind_edit": form(COORDINATOR),
    "kinds_usual": button(COORDINATOR),
    "enquiry_list": page(COORDINATOR),
    "enquiry_write": form(MEMBER),
    "enquiry_detail": page(COORDINATOR),
    "enquiry_answer": button(COORDINATOR),
    "enquiry_invite": button(COORDINATOR),
    "enquiry_came": button(COORDINATOR),
    "enquiry_offer": button(COORDINATOR),
    "enquiry_decline": button(COORDINATOR),
    "enquiry_reopen": button(COORDINATOR),
    "emergency_look": button(MEMBER),
    "enquiry_ask": form(OPEN),
    "enquiry_link": page(OPEN),
    "enquiry_confirm": button(OPEN),
    "enquiry_erase": button(OPEN),
    # the rota
    "rota_page": page(MEMBER),
    "planned_visit": page(MEMBER),
    "visit_move": button(COORDINATOR),
    "visit_person_add": button(COORDINATOR),
    "visit_call_off": button(COORDINATOR),
    "visit_cover_ask": button(COORDINATOR),
    "place_accept": button(AUTHOR),
    "place_decline": button(AUTHOR),
    "place_swap": button(AUTHOR),
    "place_take_off": button(COORDINATOR),
    "cover_take": button(AUTHOR),
    "rota_draft": form(COORDINATOR),
    "rota_publish": button(COORDINATOR),
    "rota_discard": button(COORDINATOR),
    "rota_visit_add": button(COORDINATOR),
    "availability_edit": form(MEMBER),
    "named_days_add": button(MEMBER),
    "named_days_remove": button(ONE_S_OWN),
    "feed_renew": button(MEMBER),
    "group_feed_renew": button(COORDINATOR),
    "rota_link": page(OPEN),
    "rota_link_accept": button(OPEN),
    "rota_link_decline": button(OPEN),
    "rota_link_swap": button(OPEN),
    "cover_link": page(OPEN),
    "cover_link_take": button(OPEN),
    "swap_link": page(OPEN),
    "swap_link_agree": button(OPEN),
    "swap_link_refuse": button(OPEN),
    "reminders_link": form(OPEN),
    "reminders_link_on": button(OPEN),
    "rota_calendar": page(OPEN),
    # messages and reports
    "message_list": page(COORDINATOR),
    "messages_retry": button(COORDINATOR),
    "report_list": form(MEMBER, sender=COORDINATOR),
    "report_detail": page(COORDINATOR),
    "report_file": page(COORDINATOR),
    "report_publish": button(COORDINATOR),
    "report_words": form(COORDINATOR),
    "report_picture": form(COORDINATOR),
    "report_picture_remove": button(COORDINATOR),
    "report_picture_file": page(COORDINATOR),
    "public_report": page(OPEN),
    "public_report_file": page(OPEN),
    "public_report_figures": page(OPEN),
    "report_by_identifier": page(OPEN),
}

# The sign-in library's own addresses: what it serves to whom. Other methods are its affair.
ACCOUNT_TABLE: Mapping[str, Methods] = {
    "account_login": form(OPEN),
    "account_logout": form(OPEN),
    "account_inactive": page(OPEN),
    "account_signup": form(OPEN),
    "account_reauthenticate": form(policy("login 403 403 403 403 403 403 login 403")),
    "account_email": form(SIGNED_IN),
    "account_email_verification_sent": page(OPEN),
    "account_change_password": form(SIGNED_IN),
    "account_set_password": form(SIGNED_IN),
    "account_reset_password": form(OPEN),
    "account_confirm_login_code": form(OPEN),
    "account_confirm_email": {**page(OPEN), "post": HIDDEN},
    "account_reset_password_from_key": form(OPEN),
    "account_reset_password_from_key_done": page(OPEN),
    "account_reset_password_done": page(OPEN),
}
