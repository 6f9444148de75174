"""HTTP clients that keep their connection, one after another or several at once."""

from __future__ import annotations

import http.client
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass

from tests.browser.bank.server import HOST

PATIENCE_S = 60


@dataclass(frozen=True)
class Address:
    """What is asked for: the server's port, the path, and the sign-in of whoever asks."""

    port: int
    path: str
    cookie: str = ""


class Caller:
    """One client with its connections."""

    def __init__(self) -> None:
        self._lines: dict[int, http.client.HTTPConnection] = {}

    def seconds(self, address: Address) -> float:
        """How long the answer takes; fails unless it is a page."""
        line = self._lines.setdefault(
            address.port, http.client.HTTPConnection(HOST, address.port, timeout=PATIENCE_S)
        )
        headers = {"Cookie": address.cookie, "Accept-Language": "en"}
        begun = time.perf_counter()
        try:
            line.request("GET", address.path, headers=headers)
            answer = line.getresponse()
            answer.read()
        except (http.client.RemoteDisconnected, ConnectionResetError):
            # The server may close a line that was quiet for two seconds, as it closes any browser's.
            line.close()
            return self.seconds(address)
        took = time.perf_counter() - begun
        if answer.status != http.client.OK:
            raise AssertionError(f"{address.path}: {answer.status}")
        return took


def in_turn(addresses: Sequence[Address], rounds: int) -> list[list[float]]:
    """Ask for all of them in turn, so that what else the machine does meets all alike; times of each."""
    caller = Caller()
    times: list[list[float]] = [[] for _each in addresses]
    for _round in range(rounds):
        for found, address in zip(times, addresses, strict=True):
            found.append(caller.seconds(address))
    return times


def at_once(address: Address, clients: int, requests: int) -> list[float]:
    """So many clients ask at once, again and again; the times of so many requests altogether."""
    times: list[float] = []

    def ask() -> None:
        caller = Caller()
        times.extend([caller.seconds(address) for _each in range(requests // clients)])

    threads = [threading.Thread(target=ask) for _each in range(clients)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    if len(times) < requests // clients * clients:
        raise AssertionError(f"{address.path}: not every client got its answers")
    return times
