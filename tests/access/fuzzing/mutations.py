"""From what a browser or a program would rightly send to something that is wrong in a place or two."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from typing import Any
from urllib.parse import quote_plus

from django.test.client import MULTIPART_CONTENT
from hypothesis import strategies as st

from tests.access.fuzzing import junk
from tests.access.fuzzing.forms import Form, Pair

Body = tuple[bytes, str]
URLENCODED = "application/x-www-form-urlencoded"
EDGE = "fuzzing-boundary"


def encoded(pairs: Sequence[Pair]) -> bytes:
    """As an address writes it; half a surrogate pair becomes bytes that are no UTF-8."""
    return "&".join(f"{_quoted(name)}={_quoted(value)}" for name, value in pairs).encode()


def _quoted(text: str) -> str:
    return quote_plus(text, errors="surrogatepass")


def multipart(pairs: Sequence[Pair], files: Sequence[tuple[str, junk.Upload]]) -> Body:
    """As a browser sends a form with uploads."""
    parts = [f'Content-Disposition: form-data; name="{name}"\r\n\r\n{value}' for name, value in pairs]
    sent = [_bytes(part) for part in parts]
    for name, (file_name, content, kind) in files:
        head = f'Content-Disposition: form-data; name="{name}"; filename="{file_name}"\r\n'
        sent.append(_bytes(f"{head}Content-Type: {kind}\r\n\r\n") + content)
    edge = f"--{EDGE}".encode()
    body = b"".join(edge + b"\r\n" + part + b"\r\n" for part in sent) + edge + b"--\r\n"
    return body, f"multipart/form-data; boundary={EDGE}"


def _bytes(text: str) -> bytes:
    return text.encode(errors="surrogatepass")


def form_body(data: st.DataObject, form: Form, foreign: Sequence[str]) -> Body:
    """A form as it stands on its page, changed in up to three places."""
    pairs = _chosen(data, form)
    for _change in range(data.draw(st.integers(0, 3))):
        pairs = changed(data, pairs, form.names, foreign)
    files = [
        (name, data.draw(junk.uploads)) for name in form.files for _copy in range(data.draw(st.integers(0, 2)))
    ]
    if files or data.draw(st.integers(0, 9)) == 9:
        return multipart(pairs, files)
    return encoded(pairs), URLENCODED


def _chosen(data: st.DataObject, form: Form) -> list[Pair]:
    """What stands there, with some of the choices made and one of the buttons pressed."""
    made = [
        (name, data.draw(st.sampled_from(options)))
        for name, options in form.options.items()
        if data.draw(st.booleans())
    ]
    names = {name for name, _value in made}
    pressed = [data.draw(st.sampled_from(form.buttons))] if form.buttons else []
    return [pair for pair in form.pairs if pair[0] not in names] + made + pressed


def changed(data: st.DataObject, pairs: list[Pair], names: Sequence[str], foreign: Sequence[str]) -> list[Pair]:
    """One change: a value of junk or of another group, a field left out, sent twice or unknown."""
    value = data.draw(st.one_of(junk.values, st.sampled_from(foreign)))
    kind = data.draw(st.integers(0, 9))
    if not pairs or kind == 9:
        return [*pairs, (data.draw(st.one_of(st.sampled_from(["id", "group", *names]), junk.values)), value)]
    place = data.draw(st.integers(0, len(pairs) - 1))
    name, _former = pairs[place]
    if kind == 8:
        return pairs[:place] + pairs[place + 1 :]
    if kind == 7:
        return [*pairs, (name, value)]
    return [*pairs[:place], (name, value), *pairs[place + 1 :]]


def json_body(data: st.DataObject, example: Any, foreign: Sequence[str]) -> Body:
    """An example of the interface's own, changed in up to three places; without one, any value there is."""
    if example is None:
        return junk.as_json(data.draw(junk.json_values)), "application/json"
    body = deepcopy(example)
    for _change in range(data.draw(st.integers(0, 3))):
        _change_within(data, body, foreign)
    return junk.as_json(body), "application/json"


def _change_within(data: st.DataObject, body: Any, foreign: Sequence[str]) -> None:
    """Put junk into one place of a body, however deep."""
    keys: list[Any] = (
        [*body] if isinstance(body, dict) else [*range(len(body))] if isinstance(body, list) else []
    )
    if not keys:
        return
    key = data.draw(st.sampled_from(keys))
    if isinstance(body[key], dict | list) and body[key] and data.draw(st.integers(0, 2)):
        _change_within(data, body[key], foreign)
    else:
        body[key] = data.draw(st.one_of(junk.json_values, st.sampled_from(foreign)))


def raw_body(data: st.DataObject) -> Body:
    """Bytes that nobody can read, or of another kind than they say."""
    body = data.draw(st.one_of(st.sampled_from(junk.BODIES), st.binary(max_size=60)))
    return body, data.draw(st.sampled_from([*junk.KINDS, MULTIPART_CONTENT, URLENCODED]))
