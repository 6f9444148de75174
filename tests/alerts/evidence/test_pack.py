"""The evidence pack: what it holds, for whom, whom it can be read by, and that its seals can be recomputed."""

from __future__ import annotations

import hashlib
import io
import json
import re
from copy import deepcopy
from typing import Any

import page
import pytest
from django.core.files.base import ContentFile
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse
from PIL import Image
from pypdf import PdfReader

from alerts.chain.course import steps_of
from alerts.chain.reading import name_rule, steps_json
from alerts.contacts.links import make_token
from alerts.evidence.pack import make_pack, nameless, pack_context
from alerts.models import Incident
from alerts.services.incidents import acknowledge_incident, add_note
from portal.audit.sealing import Head, seal_waiting
from portal.audit.services import history_of, record_change
from portal.audit.verifying import Witness, verify_trail
from surveys.histories import events_of
from surveys.models import Photo, Visit
from surveys.paper.typesetting import as_pdf, lay_out
from surveys.services.visits import correct_visit
from surveys.submission.parsing import parse_submission
from surveys.submission.writing import submission_data
from tests.alerts.conftest import Watch, make_watch, the_incident
from tests.conftest import make_cast
from tests.factories import SiteFactory
from tests.lasting import built_once

pytestmark = pytest.mark.django_db


def a_picture() -> ContentFile[bytes]:
    out = io.BytesIO()
    Image.new("RGB", (2000, 1200), "#335544").save(out, "PNG")
    return ContentFile(out.getvalue(), "grey.png")


def lived() -> Watch:
    """Low, photographed, corrected, acknowledged by link, noted by a coordinator who is not the one to call."""
    watch = make_watch(make_cast())
    SiteFactory(group=watch.cast.group, code="AB0", name="Upper ford", downstream=watch.site)
    watch.site.hazards = "Slippery steps."
    watch.site.access_notes = "Ask Farmer Brook at the gate."
    watch.site.save()
    visit = watch.submit_low(pollution_signs="Grey water.", by="volunteer")
    Photo.objects.create(group=visit.group, visit_number=visit.pk, file=a_picture(), caption="Grey water")
    correct(watch, visit)
    acknowledge_incident(incident=the_incident(), contact=watch.first)
    add_note(person=watch.cast.person("coordinator"), incident=the_incident(), note="Rang the works.")
    return watch


once = built_once(lived)


@pytest.fixture
def watch(once: Watch, db: None) -> Watch:
    return deepcopy(once)


@pytest.fixture
def incident(watch: Watch) -> Incident:
    return the_incident()


def correct(watch: Watch, visit: Visit) -> None:
    data = submission_data(visit)
    data["counts"] = [{"taxon": "Baetidae", "count": "4"}, {"taxon": "Chironomidae", "count": "60"}]
    person = watch.cast.person("coordinator")
    correct_visit(person=person, visit=visit, submission=parse_submission(data), reason="Miscounted.")


def reader(pdf: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pdf))


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(each.extract_text().split()) for each in reader(pdf).pages)


def embedded(pdf: bytes) -> dict[str, Any]:
    (content,) = reader(pdf).attachments["steps.json"]
    return dict(json.loads(content))


def sha(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def by_the_instructions(value: Any) -> str:
    """Canonical JSON as the pack explains it, written here without the product's own function."""
    if isinstance(value, dict):
        parts = (f"{by_the_instructions(key)}:{by_the_instructions(value[key])}" for key in sorted(value))
        return "{" + ",".join(parts) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(by_the_instructions, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


def test_anybody_can_recompute_every_seal_from_the_file_in_the_pdf(incident: Incident) -> None:
    pdf = make_pack(incident, None)
    printed = re.sub(r"\s", "", "".join(each.extract_text() for each in reader(pdf).pages))
    seal, given = "", embedded(pdf)["steps"]
    assert len(given) == incident.events.count()
    for each in given:
        seal = sha(seal + by_the_instructions(each["step"]))
        assert each["seal"] == seal
        assert seal in printed


def test_it_keeps_where_the_trail_of_the_portal_ended(incident: Incident) -> None:
    end = seal_waiting()
    record_change(actor=None, verb="site.seen", thing=incident.site)
    kept = Head.read(embedded(make_pack(incident, None))["trail"])
    assert kept == end
    seal_waiting()
    assert verify_trail(seen=[Witness("The pack", kept)]).broken is None


def test_names_and_notes_can_be_held_against_their_digests(watch: Watch, incident: Incident) -> None:
    given = json.loads(
        steps_json(incident, name_rule(incident, watch.cast.person("volunteer")), steps_of(incident))
    )["steps"]
    for each in given:
        for part in ("actor", "note"):
            hidden = each[part]
            assert sha(by_the_instructions([hidden["salt"], *hidden["values"]])) == each["step"][part]
    assert {each["actor"]["values"][1] for each in given} >= {"Vera Example", "Cora Example"}


def test_it_holds_what_the_incident_page_holds(watch: Watch, incident: Incident) -> None:
    text = text_of(make_pack(incident, watch.cast.person("volunteer")))
    for words in (
        "Acknowledged",
        "Normal here 48 median of 8 approved visits",
        "Trigger 30",
        "in 3 spots",
        "Vera Example",
        "Grey water.",
        "Slippery steps.",
        "Ask Farmer Brook",
        "Upper ford",
        "WGS84",
        "Grid reference",
        "Rang the works.",
        "Baetidae: was 3, became 4",
        "Miscounted.",
        "Not altered: Steps 1–",
    ):
        assert words in text


def test_it_names_nobody_of_the_group_to_the_agency_but_the_one_to_call(
    watch: Watch, incident: Incident
) -> None:
    pdf = make_pack(incident, None)
    whole = text_of(pdf) + json.dumps(embedded(pdf))
    assert "Vera Example" not in whole
    assert "Farmer Brook" not in whole
    assert "Cora Example, coordinator, 01632 960001" in whole
    assert "a volunteer of the group" in whole
    for user in (watch.cast.volunteer, watch.cast.other_volunteer):
        assert user.name not in whole
        assert user.email not in whole
        assert str(user.pk) not in whole


def test_a_second_coordinator_stays_nameless_to_the_agency(watch: Watch, incident: Incident) -> None:
    actor = watch.cast.volunteer
    rule = name_rule(incident, None)
    assert actor.pk in rule.unnamed
    assert watch.cast.coordinator.pk not in rule.unnamed
    assert not name_rule(incident, watch.cast.person("stranger")).for_member


def test_a_history_without_people_keeps_what_was_counted(watch: Watch, incident: Incident) -> None:
    visit = incident.visits.get()
    (corrected, *_earlier) = events_of(history_of(visit, visit.group_id))
    shown = nameless(corrected)
    assert shown.who == "the group"
    assert [each.label for each in shown.changes] == ["Baetidae"]


def test_it_keeps_the_standard_for_pdfs_that_everybody_can_read(incident: Incident) -> None:
    report = page.validate_pdf_bytes(make_pack(incident, None), profile=page.ValidationProfile.PDF_UA_1)
    assert report.is_compliant, str(report)


def test_the_checker_would_see_a_picture_without_words(incident: Incident) -> None:
    html = render_to_string(
        "alerts/evidence_pack.html", pack_context(incident, None, name_rule(incident, None), steps_of(incident))
    )
    bare = re.sub(r"<title>[^<]*</title>", "", html).replace('alt="Grey water"', "")
    report = page.validate_pdf_bytes(as_pdf(lay_out(bare, [])), profile=page.ValidationProfile.PDF_UA_1)
    assert not report.is_compliant


def test_a_member_and_the_holder_of_a_link_get_it_and_read_nothing_they_may_not(
    watch: Watch, incident: Incident
) -> None:
    client = Client()
    client.force_login(watch.cast.volunteer)
    own = client.get(reverse("incident_evidence", args=[incident.pk]))
    assert own["Content-Type"] == "application/pdf"
    assert f"incident-{incident.reference}.pdf" in own["Content-Disposition"]
    assert "Vera Example" in text_of(own.content)
    token = make_token(incident, watch.first)
    by_link = Client().get(reverse("alert_evidence", args=[token]))
    assert "Vera Example" not in text_of(by_link.content)
    watch.first.is_active = False
    watch.first.save()
    assert Client().get(reverse("alert_evidence", args=[token])).status_code == 410


def test_both_pages_lead_to_it_and_say_whether_the_chain_is_whole(watch: Watch, incident: Incident) -> None:
    client = Client()
    client.force_login(watch.cast.volunteer)
    token = make_token(incident, watch.first)
    shown = client.get(reverse("incident_detail", args=[incident.pk])).content.decode()
    behind = Client().get(reverse("alert_page", args=[token])).content.decode()
    assert reverse("incident_evidence", args=[incident.pk]) in shown
    assert reverse("alert_evidence", args=[token]) in behind
    assert "are unbroken, last seal" in shown
    assert "are unbroken, last seal" in behind


def test_the_page_says_that_the_record_was_altered(watch: Watch, incident: Incident) -> None:
    incident.events.filter(note="Rang the works.").update(note="Rang nobody.")
    client = Client()
    client.force_login(watch.cast.volunteer)
    shown = client.get(reverse("incident_detail", args=[incident.pk])).content.decode()
    assert "The record was altered" in shown
    assert "was changed, or stands in another place." in shown
