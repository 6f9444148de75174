"""The portal's three processes: the demo and docker-compose.yml both run exactly these."""

from pathlib import Path


def web(address: str) -> list[str]:
    """The web server on `address` ("host:port")."""
    return ["gunicorn", "portal.wsgi", "--config", "python:portal.serving.web_server", "--bind", address]


def worker() -> list[str]:
    """The Celery worker; two at once, so that a report being made holds no alert up."""
    return ["celery", "-A", "portal", "worker", "--loglevel", "info", "--concurrency", "2"]


def beat(schedule: Path) -> list[str]:
    """The Celery scheduler; `schedule` is the file in which it notes when each job last ran."""
    return ["celery", "-A", "portal", "beat", "--loglevel", "info", "--schedule", str(schedule)]
