"""Settings of gunicorn, the same for demo, containers and systemd; what its command line says goes before them.

Used as `gunicorn --config python:portal.serving.web_server`.
"""

from __future__ import annotations

from typing import Any

workers, threads = 2, 4
# Loaded once for both, which halves the start, and a broken portal ends at once instead of over and over.
preload_app = True
# It would stand at one place for all that this user runs.
control_socket_disable = True


def when_ready(_server: Any) -> None:
    """gunicorn's hook in the first process, when the portal is loaded and no other process is there yet."""
    # Here, because the portal's settings must stand before a module of it is read.
    from portal.serving.readying import make_ready

    make_ready()
