"""A mail server that delivers into a folder: whatever the demo sends can be read there, and nothing leaves."""

import socket
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from portal.embedded.place import make_folder

# Mail to this domain is refused, so that a message that does not arrive can be looked at.
NO_MAILBOXES = "no-mailbox.example"


class FolderDelivery:
    """Stores each accepted message as one `.eml` file; names sort by the time of arrival."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    async def handle_RCPT(
        self, _server: SMTP, _session: Session, envelope: Envelope, address: str, _options: list[str]
    ) -> str:
        """Take every address but those of the domain that has no mailboxes."""
        if address.casefold().endswith(f"@{NO_MAILBOXES}"):
            return "550 5.1.1 No such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, _server: SMTP, _session: Session, envelope: Envelope) -> str:
        """Take one message; the answer is what the sender's SMTP conversation ends with."""
        content = envelope.original_content or b""
        name = f"{time.time_ns()}-{uuid.uuid4().hex[:8]}"
        unfinished = self.folder / f"{name}.part"
        unfinished.write_bytes(content)
        # Renamed when whole, so that a reader never meets half a message.
        unfinished.rename(self.folder / f"{name}.eml")
        return "250 Message accepted for delivery"


@contextmanager
def receiving(folder: Path) -> Iterator[str]:
    """Receive mail into `folder` on a free local port and yield the EMAIL_URL to send it by."""
    delivery = FolderDelivery(make_folder(folder, 0o700))
    server = Controller(delivery, hostname="127.0.0.1", port=free_port())
    server.start()
    try:
        yield f"smtp://127.0.0.1:{server.port}"
    finally:
        server.stop()


def free_port() -> int:
    """A port of this machine that nobody listened on a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port
