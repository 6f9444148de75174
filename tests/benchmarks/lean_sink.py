"""A mail server that costs next to nothing: it takes everything and tells when it took what.

A process of its own, as a mail server is; aiosmtpd would cost more than what is measured. Takes commands in
groups (RFC 2920) as common servers do. Started as `python -m tests.benchmarks.lean_sink PAUSE_MS` it prints its
port, and then a line for each message: seconds on the machine's monotonic clock, and the subject.
"""

from __future__ import annotations

import asyncio
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from portal.embedded.place import PROJECT

SUBJECT = re.compile(rb"^Subject: (.*?)\r\n", re.MULTILINE)
ANSWERS = {
    b"EHLO": b"250-sink\r\n250-PIPELINING\r\n250 8BITMIME\r\n",
    b"DATA": b"354 go on\r\n",
    b"QUIT": b"221 bye\r\n",
}


class Dialogue(asyncio.Protocol):
    """One connection."""

    def __init__(self, pause: float) -> None:
        self._pause, self._unread, self._in_data = pause, b"", False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        transport.write(b"220 sink\r\n")

    def data_received(self, data: bytes) -> None:
        self._unread += data
        while self._take_message() if self._in_data else self._take_command():
            pass

    def _take_command(self) -> bool:
        line, end, rest = self._unread.partition(b"\r\n")
        if not end:
            return False
        self._unread = rest
        verb = line[:4].upper()
        self._in_data = verb == b"DATA"
        self._transport.write(ANSWERS.get(verb, b"250 ok\r\n"))
        return True

    def _take_message(self) -> bool:
        content, end, rest = self._unread.partition(b"\r\n.\r\n")
        if not end:
            return False
        self._unread, self._in_data = rest, False
        subject = SUBJECT.search(content)
        asyncio.get_running_loop().call_later(self._pause, self._accept, subject[1] if subject else b"")
        return True

    def _accept(self, subject: bytes) -> None:
        print(time.monotonic(), subject.decode(), flush=True)
        self._transport.write(b"250 accepted\r\n")


async def serve(pause: float) -> None:
    """Listen at a free port and print it."""
    loop = asyncio.get_running_loop()
    server = await loop.create_server(lambda: Dialogue(pause), "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


@dataclass
class LeanSink:
    """The running server: where it listens, and when it took each subject last."""

    process: subprocess.Popen[str]
    port: int = 0
    taken: dict[str, float] = field(default_factory=dict)
    count: int = 0

    def listen(self) -> None:
        """Read what it prints until its end."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            at, _, subject = line.rstrip("\n").partition(" ")
            self.taken[subject] = float(at)
            self.count += 1


@contextmanager
def lean_sink(pause_ms: float) -> Iterator[LeanSink]:
    """Run the server for the while; it thinks so long about each message, ms."""
    command = [sys.executable, "-m", "tests.benchmarks.lean_sink", str(pause_ms)]
    with subprocess.Popen(command, cwd=PROJECT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        sink = LeanSink(process, int(process.stdout.readline()))
        listener = threading.Thread(target=sink.listen)
        listener.start()
        try:
            yield sink
        finally:
            process.kill()
            listener.join()


if __name__ == "__main__":
    asyncio.run(serve(float(sys.argv[1]) / 1000))
