"""The page for whoever writes a program."""

from __future__ import annotations

from django.test import Client

from surveys.views.api_docs import operations


def test_the_page_tells_every_operation_with_its_examples(db: None) -> None:
    page = Client().get("/api/docs/").content.decode()
    assert {each.number for each in operations()} >= {"visits_submit", "exports_request", "incidents_note"}
    assert all(f'id="{each.number}"' in page for each in operations())
    assert "accept_findings_reason" in page
