"""Turning templates into the three parts of an e-mail."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils.translation import get_language


def render_mail(template_base: str, context: Mapping[str, Any]) -> tuple[str, str, str]:
    """Subject, text and HTML from `<base>.subject.txt`, `<base>.txt` and `<base>.html`, in the language spoken.

    Whoever owes the mail speaks its reader's (`portal.accounts.languages.speaking_to`), from the first word put
    into the context on. A template finds the language as `language`.

    The text templates switch autoescaping off themselves (`{% autoescape off %}`). Lines left empty by template
    tags are closed up, so that templates can be laid out for their readers.
    """
    values = {"language": get_language() or settings.LANGUAGE_CODE, **context}
    subject, text, html = (
        render_to_string(f"{template_base}.{part}", values) for part in ("subject.txt", "txt", "html")
    )
    return " ".join(subject.split()), _close_up(text), html.strip() + "\n"


def _close_up(text: str) -> str:
    lines = "\n".join(line.rstrip() for line in text.splitlines())
    return re.sub(r"\n{3,}", "\n\n", lines).strip() + "\n"
