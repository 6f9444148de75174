"""A proxy of a few lines before several web servers: in turn, and to the next one where nobody listens."""

from __future__ import annotations

import asyncio
import re
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import count

from portal.embedded.inbox import free_port

LENGTH = re.compile(rb"(?i)^content-length: *(\d+)", re.MULTILINE)
# How long it goes on asking when nobody listens, s.
PATIENCE = 10.0


@dataclass
class RoundRobin:
    """Listens at `port`; `served` counts the answers of each web server."""

    webs: list[int]
    port: int = field(default_factory=free_port)
    served: Counter[int] = field(default_factory=Counter)
    turned_away: int = 0
    turn: Iterator[int] = field(default_factory=count)

    async def handle(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One request of one connection, which closes after it."""
        head = await reader.readuntil(b"\r\n\r\n")
        length = LENGTH.search(head)
        body = await reader.readexactly(int(length[1])) if length else b""
        writer.write(await self._answer(head + body))
        await writer.drain()
        writer.close()

    async def _answer(self, request: bytes) -> bytes:
        end = asyncio.get_running_loop().time() + PATIENCE
        while asyncio.get_running_loop().time() < end:
            web = self.webs[next(self.turn) % len(self.webs)]
            if answer := await _ask(web, request):
                self.served[web] += 1
                return answer
            # As proxies do with what may be sent twice; every visit has its number.
            self.turned_away += 1
            await asyncio.sleep(0.05)
        return b"HTTP/1.1 502 Bad Gateway\r\nConnection: close\r\n\r\n"


async def _ask(port: int, request: bytes) -> bytes:
    """The whole answer of one web server; empty when it does not listen or hangs up before the first byte."""
    try:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(request)
        answer = await reader.read()
        writer.close()
    except OSError:
        return b""
    return answer


@contextmanager
def taking_turns(webs: list[int]) -> Iterator[RoundRobin]:
    """Run the proxy for the while, in a thread of its own."""
    proxy, loop = RoundRobin(webs), asyncio.new_event_loop()
    # Wholly there: a test in the browser, run before, leaves a running loop in the main thread.
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    starting = asyncio.start_server(proxy.handle, "127.0.0.1", proxy.port)
    server = asyncio.run_coroutine_threadsafe(starting, loop).result(timeout=10)
    try:
        yield proxy
    finally:
        asyncio.run_coroutine_threadsafe(_close(server), loop).result(timeout=10)
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        loop.close()


async def _close(server: asyncio.Server) -> None:
    server.close()
    others = asyncio.all_tasks() - {asyncio.current_task()}
    for task in others:
        task.cancel()
    await asyncio.gather(*others, return_exceptions=True)
