"""Pieces of a source on their way into the journal."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from telemetry.feeds.base import BLOCK_BYTES, Chunk
from telemetry.feeds.reader import Reader
from telemetry.journal import Kind


class Paper:
    """A writer that keeps what it is given."""

    def __init__(self):
        self.records, self.pending_bytes = [], 0

    def append(self, kind, *, meta, body=b"", utc_us, mono_us):
        self.records.append((kind, meta, body, utc_us))

    def sync(self):
        self.pending_bytes = 0


def journalled(pieces, *, joins):
    reader = Reader("t")
    reader.writer, reader.joins = Paper(), joins
    at = 0
    for n, (source, body) in enumerate(pieces):
        chunk = Chunk(Kind.OPENED, {"broken": True})
        if source:
            chunk = Chunk(Kind.DATA, {"source": source, "at": at}, body)
            at += len(body)
        reader._queue.append((chunk, n, n))
        reader._came_bytes += len(body)
    while reader.journal():
        pass
    assert reader._queued_bytes == sum(len(body) for source, body in pieces if not source)
    return reader.writer.records


@given(st.lists(st.tuples(st.sampled_from(["", "a", "b"]), st.binary(min_size=1, max_size=4))))
def test_joined_pieces_hold_the_same_bytes_at_the_same_places(pieces):
    apart, joined = journalled(pieces, joins=False), journalled(pieces, joins=True)
    assert len(apart) == len(pieces)
    told = []  # runs of one source, as they would be written by hand
    for kind, meta, body, utc_us in apart:
        last = told[-1] if told else (None, None, b"", 0)
        if kind is Kind.DATA and last[0] is kind and last[1]["source"] == meta["source"]:
            told[-1] = (kind, last[1], last[2] + body, utc_us)
        else:
            told.append((kind, meta, body, utc_us))
    assert joined == told


def test_a_record_of_joined_pieces_stays_a_block():
    pieces = [("a", b"x" * (BLOCK_BYTES - 1))] * 5
    sizes = [len(body) for _, _, body, _ in journalled(pieces, joins=True)]
    assert sum(sizes) == 5 * (BLOCK_BYTES - 1)
    assert max(sizes) < 2 * BLOCK_BYTES
