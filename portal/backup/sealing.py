"""Encryption of backups: files of the open format age (age-encryption.org/v1), authenticated every 64 KiB.

A key is a pair: `age1…` is public and only encrypts, `AGE-SECRET-KEY-1…` does both.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

import pyrage
from pyrage import x25519

from portal.backup.problems import BackupProblem

VARIABLE = "BACKUP_KEY"
SECRET, PUBLIC = "AGE-SECRET-KEY-1", "age1"
HOW = "`manage.py backup --new-key` makes a pair"


def new_key() -> tuple[str, str]:
    """A new pair: the public half and the secret one."""
    secret = x25519.Identity.generate()
    return str(secret.to_public()), str(secret)


def encrypting_key(environment: Mapping[str, str]) -> x25519.Recipient:
    """The public half of BACKUP_KEY, whichever half stands there; raises BackupProblem."""
    given = _given(environment)
    try:
        if given.upper().startswith(SECRET):
            return x25519.Identity.from_str(given).to_public()
        return x25519.Recipient.from_str(given)
    except (pyrage.IdentityError, pyrage.RecipientError):
        raise BackupProblem(f"{VARIABLE} is no key of age: {HOW}.") from None


def decrypting_key(environment: Mapping[str, str]) -> x25519.Identity:
    """The secret half of BACKUP_KEY; raises BackupProblem."""
    given = _given(environment)
    if given.startswith(PUBLIC):
        raise BackupProblem(f"{VARIABLE} holds the public half, which only encrypts. Give the half {SECRET}….")
    try:
        return x25519.Identity.from_str(given)
    except pyrage.IdentityError:
        raise BackupProblem(f"{VARIABLE} is no secret key of age: it begins with {SECRET}.") from None


def encrypt(pieces: Iterator[bytes], target: BinaryIO, key: x25519.Recipient) -> None:
    """Write `pieces` encrypted; whatever they raise is raised here."""
    source = _Pulled(pieces)
    try:
        pyrage.encrypt_io(source, target, [key])
    except (pyrage.EncryptError, OSError) as failure:
        # The library only repeats in words what its source told it.
        raise source.problem or BackupProblem(f"It could not be written: {failure}") from None


@contextmanager
def decrypted(path: Path, key: x25519.Identity) -> Iterator[BinaryIO]:
    """The content as a stream, read to its end whatever the block does.

    Raises BackupProblem, at the latest after the block, unless the file is whole, unchanged and for this key.
    """
    source = _opened(path)
    receiver, sender = os.pipe()
    worker = _Decrypting(path, source, key, sender)
    worker.start()
    try:
        with open(receiver, "rb") as stream:
            yield stream
            while stream.read(65_536):
                pass
    finally:
        worker.join()
        # What the reader stumbled over is only the echo of this.
        worker.raise_problem()


def _opened(path: Path) -> BinaryIO:
    # Here, where it is heard: what a thread raises is only printed.
    try:
        return path.open("rb")
    except OSError as refusal:
        raise BackupProblem(f"{path} cannot be opened: {refusal.strerror}.") from None


class _Decrypting(threading.Thread):
    """Pushes the content into a pipe, because the library writes what we want to read."""

    def __init__(self, path: Path, source: BinaryIO, key: x25519.Identity, sender: int) -> None:
        super().__init__(daemon=True)
        self._path, self._source, self._key, self._sender = path, source, key, sender
        self._problem: BackupProblem | None = None

    def run(self) -> None:
        # A reader that has left is no problem of ours.
        with suppress(BrokenPipeError):
            self._push()

    def _push(self) -> None:
        try:
            with (
                open(self._sender, "wb", buffering=0) as pipe,
                self._source as source,
                _told_plainly(self._path),
            ):
                pyrage.decrypt_io(source, pipe, [self._key])
        except BackupProblem as problem:
            self._problem = problem

    def raise_problem(self) -> None:
        if self._problem:
            raise self._problem


class _Pulled:
    """A generator as the file that the library reads."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self._pieces = pieces
        self._left = memoryview(b"")
        self.problem: Exception | None = None

    def read(self, size: int) -> bytes:
        while not self._left:
            piece = self._next()
            if piece is None:
                return b""
            self._left = memoryview(piece)
        taken, self._left = self._left[:size], self._left[size:]
        return bytes(taken)

    def _next(self) -> bytes | None:
        try:
            return next(self._pieces, None)
        except Exception as problem:
            self.problem = problem
            raise


@contextmanager
def _told_plainly(path: Path) -> Iterator[None]:
    try:
        yield
    except pyrage.DecryptError as refusal:
        if "No matching keys" in str(refusal):
            raise BackupProblem(f"{path} was not made for this {VARIABLE}.") from None
        raise BackupProblem(f"{path} is no backup, or its beginning was damaged or changed.") from None
    except OSError as refusal:
        # The library's own refusals carry no number, those of the system do.
        if refusal.errno is not None:
            raise
        raise BackupProblem(f"{path} was damaged, changed or cut off since it was made.") from None


def _given(environment: Mapping[str, str]) -> str:
    given = environment.get(VARIABLE, "").strip()
    if not given:
        raise BackupProblem(f"Set {VARIABLE} in the environment; {HOW}.")
    return given
