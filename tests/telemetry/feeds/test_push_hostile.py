"""What a collector's address answers to bodies made to hurt: words and a 4xx, at once, and nothing
that intake would choke on afterwards."""

from __future__ import annotations

import json
import struct
import time
import zlib

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from telemetry.errors import PushError
from telemetry.feeds.push.receipt import Delivery, _inboxes, push_take
from telemetry.feeds.push.records import MAX_BODY, MAX_RECORDS, unpack_all
from telemetry.journal import Kind
from telemetry.journal.record import MARK
from telemetry.models import Reject
from telemetry.selectors import feed_status
from telemetry.services import feed_register, push_token_find, push_token_issue
from telemetry.worker import run_once
from tests.telemetry.table_lines import feed_text

SOON_S = 2.0  # of a loaded machine; what is measured below takes milliseconds
LINE = b"1,2026-03-10T06:00:00,1,ARC ON,\n"


def crafted(
    meta: bytes = b"{}", body: bytes = LINE, *, kind: int = 1, sequence: int = 1,
    utc_us: int = 1_770_000_000_000_000, mono_us: int = 5,
) -> bytes:  # fmt: skip
    """A record with a right checksum over whatever it says, laid out here by hand."""
    payload = struct.pack("<H", len(meta)) + meta + body
    rest = struct.pack("<IQqqB", len(payload), sequence, utc_us, mono_us, kind) + payload
    return MARK + struct.pack("<I", zlib.crc32(rest)) + rest


def named(**meta) -> bytes:
    return crafted(json.dumps(meta).encode())


HOSTILE = {
    "no JSON": crafted(b"{"),
    "no object": crafted(b"[]"),
    "deep": crafted(b"[" * 60_000),
    "deep objects": crafted(b'{"a":' * 12_000),
    "a huge number": crafted(b'{"at":' + b"9" * 60_000 + b"}"),
    "a number over 64 bits": named(at=2**63),
    "a number below nothing": named(at=-1),
    "no number": named(at="5"),
    "a half": named(at=1.5),
    "no number at all": crafted(b'{"at":NaN}'),
    "endless": crafted(b'{"at":Infinity}'),
    "yes for a number": named(at=True),
    "a list for a name": named(source=["live"]),
    "null for a name": named(source=None),
    "a word for a flag": named(fresh="yes"),
    "an object for a message": named(message={}),
    "no UTF-8": crafted(b'{"source":"\xff"}'),
    "an unknown kind": crafted(kind=9),
    "a description": crafted(kind=int(Kind.VERSION)),
    "a clock": crafted(kind=int(Kind.CLOCK)),
    "number 0": crafted(sequence=0),
    "the largest number": crafted(sequence=2**64 - 1),
    "before 1970": crafted(utc_us=-1),
    "after all": crafted(utc_us=2**63 - 1),
    "a clock that ran backwards": crafted(mono_us=-(2**63)),
    "a long body": crafted(body=b"x" * (1024 * 1024 + 1)),
    "a length that lies": crafted()[:12] + b"\xff\xff\xff\x7f" + crafted()[16:],
    "half": crafted()[:-1],
    "nothing": b"\0" * 1000,
    "marks": MARK * 10_000,
}


@pytest.mark.parametrize("what", HOSTILE)
def test_hostile_records_are_refused_in_words_at_once(what):
    began = time.monotonic()
    with pytest.raises(PushError) as problem:
        unpack_all(HOSTILE[what])
    assert time.monotonic() - began < SOON_S
    assert problem.value.status == 422
    assert 10 < len(problem.value.message) < 200


def test_too_many_and_too_long_are_refused_with_413():
    many = b"".join(crafted(body=b"", sequence=n) for n in range(1, MAX_RECORDS + 2))
    assert len(many) < MAX_BODY
    for body in (many, b"x" * (MAX_BODY + 1)):
        with pytest.raises(PushError) as problem:
            unpack_all(body)
        assert problem.value.status == 413
    assert len(unpack_all(many[: -len(many) // (MAX_RECORDS + 1)])) == MAX_RECORDS


def refusal(body: bytes) -> int | None:
    """The status a body is refused with; None where it is taken."""
    try:
        unpack_all(body)
    except PushError as problem:
        return problem.status
    return None


@given(st.binary(max_size=300), st.integers(0, 200), st.binary(max_size=20))
def test_any_bytes_are_records_or_refused(noise, at, more):
    whole = crafted() + crafted(sequence=2)
    for body in (noise, MARK + noise, whole[:at] + noise + whole[at:] + more):
        assert refusal(body) in (None, 422)


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=400),
    lambda some: (
        st.lists(some, max_size=3) | st.dictionaries(st.text(max_size=5), some, max_size=3)
    ),
    max_leaves=6,
)
known = st.sampled_from(["source", "at", "path", "broken", "fresh", "rotated", "message"])
wide = st.integers(-(2**63), 2**63 - 1)


@given(
    st.dictionaries(known | st.text(max_size=5), anything, max_size=5) | anything,
    st.integers(0, 255), st.integers(0, 2**64 - 1), wide, wide,
)  # fmt: skip
def test_any_record_is_one_of_ours_or_refused(meta, kind, sequence, utc_us, mono_us):
    text = json.dumps(meta).encode()[:60_000]
    body = crafted(text, kind=kind, sequence=sequence, utc_us=utc_us, mono_us=mono_us)
    assert refusal(body) in (None, 422)
    assert refusal(crafted(text)) in (None, 422)


@pytest.fixture
def feed(db):
    text = feed_text("x").replace('kind = "csv_file"\npath = "x"', 'kind = "push"')
    return feed_register(name="p", text=text, by="test")


sayings = st.fixed_dictionaries(
    {},
    optional={
        "source": st.text(max_size=400), "message": st.text(max_size=400),
        "path": st.text(max_size=50), "at": st.integers(0, 2**53 - 1), "fresh": st.booleans(),
        "broken": st.booleans(), "rotated": st.booleans(), "file": anything, "x": anything,
    },
)  # fmt: skip


@pytest.mark.slow
@settings(
    max_examples=25, deadline=None, phases=[Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(
    meta=sayings, body=st.binary(max_size=60) | st.just(LINE),
    kind=st.sampled_from([Kind.DATA, Kind.DATA, Kind.OPENED, Kind.FLUSH, Kind.END]),
    utc_us=st.integers(0, 3_786_911_999_999_999), mono_us=st.integers(0, 2**62 - 1),
)  # fmt: skip
def test_what_is_taken_can_be_stored(feed, meta, body, kind, utc_us, mono_us):
    """Intake decodes and commits whatever passes: no record stops a feed for good."""
    _inboxes.clear()
    token = push_token_find(feed_name="p", token=push_token_issue(feed=feed))
    record = crafted(json.dumps(meta).encode(), body, kind=kind, utc_us=utc_us, mono_us=mono_us)
    assert push_take(token=token, body=record, delivery=Delivery(f"{token.pk:032x}")) == 2
    before = feed_status(feed)["lines"]
    run_once([feed])
    assert feed_status(feed)["lines"] >= before


@pytest.mark.django_db
def test_odd_names_of_files_come_through_without_what_no_database_takes(feed):
    _inboxes.clear()
    token = push_token_find(feed_name="p", token=push_token_issue(feed=feed))
    odd = "a\0b\udcff" + "c" * 400
    body = named(source=odd, at=0, path=odd, file={"inode": 1}) + crafted(
        json.dumps({"source": odd, "at": len(LINE)}).encode(), b"nonsense\n", sequence=2
    )
    assert push_take(token=token, body=body, delivery=Delivery("1" * 32)) == 3
    run_once([feed])
    status = feed_status(feed)
    assert (status["lines"], status["events"], status["rejected"]) == (2, 1, 1)
    assert Reject.objects.get().source.startswith("11111111:a?b?ccc")
