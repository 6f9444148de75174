"""Mail: everything that is sent waits in the outbox first."""

from portal.settings.environment import env

# Whatever sends mail through Django writes an outbox row; only the outbox worker speaks SMTP.
EMAIL_BACKEND = "portal.outbox.backend.OutboxBackend"
_mail = env.email_url("EMAIL_URL", default="smtp://localhost:1025")
OUTBOX_SMTP = {
    "host": _mail["EMAIL_HOST"],
    "port": _mail["EMAIL_PORT"],
    "username": _mail["EMAIL_HOST_USER"],
    "password": _mail["EMAIL_HOST_PASSWORD"],
    "use_tls": _mail.get("EMAIL_USE_TLS", False),
    "use_ssl": _mail.get("EMAIL_USE_SSL", False),
    # smtp://host:port?timeout=20&lines=4: seconds to wait for each answer; a worker's lines while much is owed.
    "timeout": _mail.get("OPTIONS", {}).get("TIMEOUT", 20),
    "lines": _mail.get("OPTIONS", {}).get("LINES", 4),
}
DEFAULT_FROM_EMAIL: str = env.str("FROM_EMAIL", default="Rifflebook <portal@rifflebook.example>")
