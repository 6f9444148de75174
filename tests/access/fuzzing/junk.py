"""What nobody should send: values, uploads, headers and bodies, each as a strategy of hypothesis."""

from __future__ import annotations

import io
import json
import struct
import zipfile
import zlib
from functools import cache
from typing import Any

from hypothesis import strategies as st
from PIL import Image

# Half a surrogate pair is sent as bytes that are no UTF-8.
texts = st.text(max_size=40)
numbers = st.one_of(
    st.integers(-(10**20), 10**20).map(str),
    st.floats().map(str),
    st.sampled_from(
        [
            "NaN",
            "Infinity",
            "-inf",
            "1e400",
            "-0",
            "٣",
            "1,5",
            "0x10",
            "9" * 400,
            "32768",
            "2147483648",
            "9223372036854775808",
            "1_000",
            " 7 ",
            "²",
            "1e-400",
            "0." + "0" * 300 + "1",
        ]
    ),
)
days = st.sampled_from(
    [
        "0000-00-00",
        "2026-02-30",
        "9999-12-31",
        "0001-01-01",
        "99999-01-01",
        "2026-13-01T25:61",
        "24:00",
        "2026-03-29T01:30",
        "2026-10-25T01:30",
        "1900-02-29",
        "-2026-01-01",
        "2026-1-1",
        "2026-W01",
    ]
)
NASTY = [
    "\x00",
    "a\x00b",
    "%s%d%n",
    "'; --",
    "<script>",
    "\u202e\u2066abc",
    "\r\nBcc: x@y.example",
    "x" * 70_000,
    "\ud800",
    "a\udfff",
    "😀" * 300,
    "../../etc/passwd",
    "{{7*7}}",
    "[" * 5000,
    "=1+1",
    "\\",
    "\x1b[2J",
    "null",
    "undefined",
    "[]",
    "{}",
    "true",
    "İ" * 100,
    "ﷺ" * 80,
    "a@" + "b" * 300 + ".example",
    "a@b\n.c",
    "00000000-0000-0000-0000-000000000000",
    "//evil.example",
    "javascript:alert(1)",
    "\ufeff",
    "\u2028",
]
values = st.one_of(st.sampled_from(NASTY), numbers, days, texts, st.just(""))

json_values: st.SearchStrategy[Any] = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(10**25), 10**25),
        st.floats(),
        st.sampled_from(NASTY),
        texts,
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=6,
)
BODIES = [
    b"",
    b"{",
    b"[" * 100_000,
    b'{"a":' * 3000 + b"1" + b"}" * 3000,
    b'{"a": NaN, "b": Infinity}',
    '{"a": "ü"}'.encode("latin-1"),
    '{"a": 1}'.encode("utf-16"),
    b'{"a": "\\ud800"}',
    b'{"a": 1, "a": 2}',
    b"\xff\xfe\x00",
    b"9" * 5000,
    b'"' + b"x" * 100_000 + b'"',
]
KINDS = [
    "application/json",
    "application/json; charset=utf-16",
    "application/json; charset=none-such",
    "application/x-www-form-urlencoded; charset=utf-7",
    "application/x-www-form-urlencoded; charset=none-such",
    "multipart/form-data",
    "multipart/form-data; boundary=" + "b" * 80,
    "multipart/form-data; boundary=ü",
    "text/plain",
    "application/xml",
    "x",
    "",
    ";;;=",
]
# Without zero bytes, which no web server lets through in a header.
HEADERS: dict[str, list[str]] = {
    "Accept-Language": ["", "*", "xx-" * 500, "de;q=NaN", "de;q=2,,;", "en-GB-x-" + "a" * 200, "ü", "zh-Hant"],
    "Accept": ["", "text/html;q=", "application/xml", "image/*", "a" * 3000],
    "Range": [
        "bytes=0-",
        "bytes=9-1",
        "bytes=-0",
        "bytes=" + "0-1," * 500,
        "lines=1-2",
        "bytes=9999999999999999999-",
    ],
    "If-None-Match": ["*", '"', 'W/"', "ü", '"a", "b', "," * 500],
    "If-Modified-Since": [
        "yesterday",
        "Thu, 01 Jan 1970 00:00:00 GMT",
        "Fri, 99 Xxx 9999999999 25:61:61 GMT",
        "",
    ],
    "If-Range": ['"', "x"],
    "HX-Request": ["true", "ü"],
    "HX-Current-URL": ["javascript:1", "http://[", "//"],
    "Referer": ["http://[", "//evil.example", "x" * 3000],
    "Origin": ["null", "http://[", "https://evil.example"],
    "X-Forwarded-For": ["", "1.2.3.4, x, ::1", "," * 300, "ü"],
    "X-Forwarded-Proto": ["https", "ftp", ""],
    "X-Rifflebook-Person": ["", "1", "x", "9" * 400, "ü"],
    "Authorization": ["", "Bearer", "Bearer ", "Bearer ü", "Basic eDp5", "Bearer " + "x" * 5000, "Bearer a b"],
    "Idempotency-Key": ["", "x" * 5000, "ü", "\u202e"],
    "Accept-Encoding": ["gzip;q=NaN", "*", "br, zstd", ""],
    "Host": ["", "x y", "testserver:99999", "[", "testserver.", "a" * 300],
    "X-HTTP-Method-Override": ["DELETE"],
    "Content-Encoding": ["gzip"],
}
COOKIES: dict[str, list[str]] = {
    "sessionid": ["", "x", "x" * 5000, '"', "\\000", "a;b"],
    "csrftoken": ["", "x" * 64, "x" * 5000],
    "messages": ["", "x", "[[", "x:y:z", '"[[\\"__json_message\\"'],
    "django_language": ["", "xx", "de-" * 300, "\\000", "../de", "en-GB"],
}
headers = st.sampled_from([(name, value) for name in sorted(HEADERS) for value in HEADERS[name]])
cookies = st.sampled_from([(name, value) for name in sorted(COOKIES) for value in COOKIES[name]])

Upload = tuple[str, bytes, str]


@cache
def a_picture() -> bytes:
    file = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112], exif[0x8825] = 6, {1: "N", 2: (54.0, 30.0, 1.0), 3: "W", 4: (2.0, 30.0, 1.0)}
    Image.new("RGB", (24, 16), "teal").save(file, "JPEG", exif=exif)
    return file.getvalue()


def a_png_of(width: int, height: int) -> bytes:
    """A picture that says to be larger than it is."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 99))
        + chunk(b"IEND", b"")
    )


@cache
def a_zip(*members: tuple[str, int]) -> bytes:
    """A packed file whose members hold so many zero bytes."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, size in members:
            packed.writestr(name, bytes(size))
    return file.getvalue()


SHEET = "site,date,taxon,count\nAB1,2024-05-01,Baetidae,4\n"
ENTITY = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "x"><!ENTITY c "&b;&b;&b;">]><a>&c;</a>'
CONTENTS = [
    b"",
    a_picture(),
    a_picture()[:-40],
    a_picture()[:60],
    a_picture() + a_zip(("a.txt", 10)),
    a_picture().replace(b"Exif", b"Exi\xff"),
    a_png_of(60_000, 60_000),
    a_png_of(0, 1),
    a_png_of(2**31 - 1, 2**31 - 1),
    b"GIF89a" + b"\xff" * 40,
    b"RIFF\xff\xff\xff\xffWEBPVP8 " + b"\0" * 30,
    b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
    b"%PDF-1.7\n",
    SHEET.encode(),
    SHEET.encode("utf-16"),
    SHEET.encode("utf-8-sig") + b"\xff\xfe",
    b"\x00" * 3000,
    b"site,date,taxon,count\n" + b"AB1,2024-05-01,Baetidae," + b"9" * 400 + b"\n",
    b"site;date\n" * 30 + b'"' + b"x" * 200_000,
    ("," * 4000 + "\n" + SHEET).encode(),
    b"site,date,taxon,count\nAB1,99999-99-99,\x00\x00,NaN\n=cmd|' /C'!A0,,,\n",
    a_zip(("xl/workbook.xml", 30_000_000)),
    a_zip(*((f"xl/worksheets/sheet{number}.xml", 5) for number in range(300))),
    a_zip(("../../x", 5), ("[Content_Types].xml", 5)),
    a_zip(("xl/workbook.xml", 5))[:-10],
    ENTITY,
    b"PK\x05\x06" + b"\0" * 18,
]
FILE_NAMES = [
    "a.jpg",
    "a.csv",
    "a.xlsx",
    "a.png",
    "a",
    "",
    "../../a.csv",
    "a.csv.exe",
    "ü" * 150 + ".csv",
    "a\x00.jpg",
]
FILE_KINDS = ["image/jpeg", "text/csv", "application/vnd.ms-excel", "image/svg+xml", "text/html", "x", ""]
uploads: st.SearchStrategy[Upload] = st.tuples(
    st.sampled_from(FILE_NAMES),
    st.one_of(st.sampled_from(CONTENTS), st.binary(max_size=80)),
    st.sampled_from(FILE_KINDS),
)


def as_json(value: Any) -> bytes:
    return json.dumps(value).encode()
