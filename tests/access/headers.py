"""Which headers every answer carries, whoever asks for what."""

from __future__ import annotations

from typing import Any

from portal.serving.headers import PERMISSIONS

FIXED = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": PERMISSIONS,
}
# Signed links tell nobody their address, not even our own pages.
STRICTER = {"Referrer-Policy": "no-referrer"}
HSTS = "max-age=31536000; includeSubDomains; preload"
PAGE_POLICY = {
    "default-src": {"'self'"},
    "img-src": {"'self'", "data:", "blob:"},
    "object-src": {"'none'"},
    "base-uri": {"'none'"},
    "frame-ancestors": {"'none'"},
    "form-action": {"'self'"},
}
# Of a file that somebody has sent in.
FILE_POLICY = {"default-src": {"'none'"}, "sandbox": set()}


def policy_of(answer: Any) -> dict[str, set[str]]:
    """The directives of an answer's content security policy, each with its sources."""
    parts = [part.split() for part in answer.headers.get("Content-Security-Policy", "").split(";")]
    return {words[0]: set(words[1:]) for words in parts if words}


def missing(answer: Any) -> list[str]:
    """Which headers an answer lacks, or has otherwise than they should be."""
    wrong = [
        f"{name}: {answer.headers.get(name)}"
        for name, value in FIXED.items()
        if answer.headers.get(name) not in (value, STRICTER.get(name, value))
    ]
    return wrong + ([] if policy_of(answer) in (PAGE_POLICY, FILE_POLICY) else [f"policy: {policy_of(answer)}"])


# Answers that a browser may keep although somebody is signed in: they tell nothing that is not public, or are
# the reader's calendar, which its own address opens.
MAY_BE_KEPT = {
    "bank_icon",
    "bank_manifest",
    "bank_worker",
    "enquiry_ask",
    "public_data",
    "public_data_file",
    "public_feed",
    "public_group",
    "public_report",
    "public_report_figures",
    "public_report_file",
    "public_report_list",
    "public_site",
    "report_by_identifier",
    "robots",
    "rota_calendar",
    "sitemap",
}


def kept(answer: Any, name: str) -> list[str]:
    """What an answer to somebody signed in says of keeping it, where it may not be kept."""
    told = answer.headers.get("Cache-Control", "")
    return [] if name in MAY_BE_KEPT or "no-store" in told else [f"Cache-Control: {told}"]


def missing_over_https(answer: Any) -> list[str]:
    """The same over HTTPS, where browsers are also told to use nothing else."""
    told = answer.headers.get("Strict-Transport-Security")
    return missing(answer) + ([] if told == HSTS else [f"Strict-Transport-Security: {told}"])
