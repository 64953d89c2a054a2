"""Odd values for every place a request has one: path, query, form field, JSON, head."""

from __future__ import annotations

import json
import random
import uuid
from typing import Any

LONG = "9" * 40
NUMBERS = ["0", "-1", "1", "2147483648", "9223372036854775807", "9223372036854775808", LONG,
           "1e400", "NaN", "Infinity", "-0.0", "1e-400", "٣", "1_000", "0x10", "1,5"]  # fmt: skip
DAYS = ["0001-01-01", "9999-12-31", "2026-02-30", "2026-10-06", "0000-00-00", "-0001-01-01",
        "10000-01-01", "2026-13", "0001-01", "9999-12", "2026-10", "2026-10-06T25:61",
        "0001-01-01T00:00", "9999-12-31T23:59", "9999-12-31T23:59:59.999999+14:00"]  # fmt: skip
TEXTS = ["", " ", "\0", "a\0b", "\ud800", "\u202eabc", "..", "../../etc/passwd", "%00", "%", "%s",
         "{}", "[]", "null", "true", "'", '"', "<script>", "\r\n", "ä" * 300, "x" * 5000, ":", "::",
         "a:b:c:d", "1:", ":1", "1:wear", "none", "all", "-", "/", "//", "north", "\ufeff",
         "\U0001f525"]  # fmt: skip
KEYS = ["2026-10-01:1", "2026-10-01:wear", "0001-01-01:1", "9999-12-31:wear", "0001-01:1",
        "9999-12:1:wear", "1:wear:1", "1:cutting", "north:2026-10-06:early", "1:0001-01-01:early",
        "1:9999-12-31:late", f"{uuid.UUID(int=7)}:cutting", "1:9999999999999999999",
        "1.5:2", "0001-01-01", "9999-12-31", "-1:-1", "1:1:1:1", "north:9999999999999999999:1",
        "1|2", "north|0001-01-01", "1:1000000000000000000000000"]  # fmt: skip
SLUGS = ["north", "a", "-", "_", "0001-01", "9999-12", "2026-13", "2026-10", "0000-00", "x" * 300,
         "owner", "operator", "run", "piece", "register", "help"]  # fmt: skip
HEADERS = {
    "HTTP_ACCEPT": ["", "*/*", "text/html", "application/json", "\xff"],
    "HTTP_REFERER": ["", "http://[", "http://testserver/\0", "javascript:1", "/"],
    "HTTP_IF_MODIFIED_SINCE": ["yesterday", "Thu, 01 Jan 0001 00:00:00 GMT", LONG],
    "HTTP_IF_NONE_MATCH": ['"', "*", LONG],
    "HTTP_RANGE": ["bytes=-1", "bytes=9-1", "bytes=a-b"],
    "HTTP_AUTHORIZATION": ["", "Bearer", "Bearer x", "Basic é", "Token \0"],
    "HTTP_X_REASON": ["x" * 3000, "\xff", "\0"],
    "HTTP_COOKIE": ["sessionid=\xff", "kerfbook_terminal=\0", "csrftoken=", "a" * 4000],
    "HTTP_X_FORWARDED_FOR": ["", "::::", "1.2.3.4, 5", LONG],
    "HTTP_X_FORWARDED_PROTO": ["ftp", "\0"],
    "HTTP_HOST": ["testserver:99999999", "[", "testserver:a", ""],
}
TYPES = ["application/json", "text/plain", "multipart/form-data", "multipart/form-data; boundary=",
         "application/x-www-form-urlencoded; charset=no-such", "application/json; charset=utf-16",
         "", "\xff", "application/octet-stream"]  # fmt: skip
FILES = [b"", b"\0", b"\xff\xfe", b"PK\x03\x04broken", b"a,b\n1,2\n", b"G0 X1\nM2\n",
         b"0\nSECTION\n2\nENTITIES\n0\nENDSEC\n0\nEOF\n", b"%PDF-1.4", b"\x89PNG\r\n\x1a\n",
         b"[source]\nkind=1\n", b"AC1032" + b"\0" * 100, b"x" * 10000,
         b"number,due\nJ-1,9999-12-31\nJ-2,0001-01-01\n"]  # fmt: skip


def text(chance: random.Random) -> str:
    return chance.choice(chance.choice([NUMBERS, DAYS, TEXTS, KEYS, SLUGS]))


def whole(chance: random.Random, real: list[Any]) -> str:
    odd = ["0", "2147483647", "2147483648", "9223372036854775807", "9223372036854775808", LONG]
    return str(chance.choice(real)) if real and chance.random() < 0.7 else chance.choice(odd)


def structure(chance: random.Random, depth: int = 0) -> Any:
    """Anything JSON can say."""
    kind = chance.randrange(6 if depth < 3 else 4)
    if kind == 0:
        return text(chance)
    if kind == 1:
        return chance.choice([0, -1, 1, 2**31, 2**63, 10**40, 1.5, 1e308])
    if kind < 4:
        return chance.choice([None, True, False, ""])
    if kind == 4:
        return [structure(chance, depth + 1) for _ in range(chance.randrange(4))]
    return {text(chance)[:20]: structure(chance, depth + 1) for _ in range(chance.randrange(4))}


def bent(value: Any, chance: random.Random) -> Any:
    """The same JSON with one thing in it put in another's place, taken out, or of another kind."""
    if isinstance(value, dict) and value and chance.random() < 0.85:
        key = chance.choice(list(value))
        left = dict(value)
        if chance.random() < 0.15:
            del left[key]
        else:
            left[key] = bent(value[key], chance)
        return left
    if isinstance(value, list) and value and chance.random() < 0.85:
        at = chance.randrange(len(value))
        return [*value[:at], bent(value[at], chance), *value[at + 1 :]]
    return structure(chance)


def body(chance: random.Random) -> bytes:
    """What is sent as JSON, now and then not even that."""
    said = [b"", b"{", b"\xff", b"NaN", b"[" * 5000, b'{"a":1}{', b"1e999", b'"\\ud800"']
    if chance.random() < 0.4:
        return chance.choice(said)
    return json.dumps(structure(chance)).encode()
