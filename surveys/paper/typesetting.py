"""Setting HTML as a PDF for screen readers as well as for paper, with nothing fetched from outside."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from django.contrib.staticfiles import finders
from weasyprint import CSS, HTML, Attachment, Document
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

# Tagged for screen readers, with title, language and alternative texts; tests hold the files against it.
PDF_VARIANT = "pdf/ua-1"


class OutsideRefused(FatalURLFetchingError):  # type: ignore[misc]
    """The document asked for something outside itself."""


class NothingOutside(URLFetcher):  # type: ignore[misc]
    """Lets through data inside the document only: what a volunteer typed must never make the server fetch."""

    def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> URLFetcherResponse:
        """Return the content of a data address; raises OutsideRefused for any other."""
        if not url.startswith("data:"):
            raise OutsideRefused(f"A document fetches nothing from outside: {url}")
        return super().fetch(url, headers)


def lay_out(html: str, styles: list[str]) -> Document:
    """Lay HTML out in pages with style sheets given as text."""
    sheets = [CSS(string=style, url_fetcher=NothingOutside()) for style in styles]
    document = HTML(string=html, url_fetcher=NothingOutside())
    return document.render(stylesheets=sheets, pdf_variant=PDF_VARIANT)


def as_pdf(document: Document, attachments: Iterable[Attachment] = ()) -> bytes:
    """The laid-out pages as a tagged PDF, with files embedded that go along with it."""
    return bytes(document.write_pdf(pdf_variant=PDF_VARIANT, attachments=list(attachments)))


def style_text(name: str) -> str:
    """A style sheet of ours, as text."""
    return Path(str(finders.find(name))).read_text(encoding="utf-8")
