"""From bytes to events: line splitting, parsing, sequence, reorder window and level edges."""

from __future__ import annotations

import re
from typing import Any, Final, Literal

from telemetry.description import Description
from telemetry.edges import Edges
from telemetry.errors import ParseError
from telemetry.events import (
    ARC_OFF,
    ARC_ON,
    LATE,
    PROGRAM,
    SAMPLE_A,
    Batch,
    Duplicate,
    Event,
    Gap,
    Reject,
)
from telemetry.identity import Occurrences, position_key, seq_key, stamp_key
from telemetry.lines import KEEP_BYTES, LineSplitter, RawLine
from telemetry.ordering import Window
from telemetry.parsers import make_parser
from telemetry.parsers.checksum import make_check
from telemetry.parsers.stamps import SECOND_US, make_reader
from telemetry.sequence import NEAR, Sequence

Fragment = Literal["keep", "take", "reject"]

_CONTROL: Final = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")
_NUMBER: Final = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?\Z", re.ASCII)
_LONGEST_SEQ: Final = 18  # digits that fit a 64-bit column
_EMPTY: Final = Batch()


class Decoder:
    """Decodes one feed's bytes; pure, so a rebuild from the journal gives what live intake gave.

    Feed blocks in order of their position. Keep `state()` in the same transaction as the rows
    of the batch: `from_state` then goes on at the next byte with identical results. `source`
    names the file generation or journal the bytes are from; where it changes, line numbers
    start again and a half line of the old source is rejected.
    """

    def __init__(self, description: Description) -> None:
        self.description = description
        line, time = description.line, description.time
        window_us = round(description.window_s * SECOND_US)
        self._timed = not description.times_from_arrival
        self._has_seq = description.has_seq
        self._is_level = line.format == "level"
        self._encoding = line.encoding
        self._decimal = line.decimal
        self._torch = description.torch
        self._window_us = window_us
        self._debounce_us = round(line.debounce_s * SECOND_US)
        self._signals = dict(description.signals)
        if self._is_level:
            levels = dict.fromkeys(line.on, ARC_ON) | dict.fromkeys(line.off, ARC_OFF)
            listed = {w: k for w, k in self._signals.items() if k in (ARC_ON, ARC_OFF)}
            self._signals = levels | listed
        self._check = make_check(line.checksum, line.separator)
        self._parser = make_parser(description)
        self._stamp = make_reader(time.format, time.zone, window_us)
        self._splitter = LineSplitter()
        self._sequence = Sequence(window_us, timed=self._timed)
        self._window = Window(timed=self._timed)
        self._unchecked: list[list[int]] = []
        self._occurrences = Occurrences(window_us + SECOND_US)
        self._edges: dict[str, Edges] = {}
        self._newest_us = 0
        self._line = 0
        self._source: str | None = None
        self._arrival_us: int | None = None
        self._batch = _EMPTY

    def feed_block(
        self, raw: bytes, *, position: int, arrival_us: int | None, source: str
    ) -> Batch:
        """Decode a block whose first byte is at `position`.

        `arrival_us` is when the block came in; needed where times come from arrival (ValueError
        without it), else it only goes along on the events.
        """
        if arrival_us is None and not self._timed:
            raise ValueError("times come from arrival, so every block needs its arrival_us")
        batch = self._batch = Batch()
        if source != self._source:
            self._change_source(source)
        self._arrival_us = arrival_us
        for line in self._splitter.feed(raw, position):
            self._take(line)
        self._release(self._newest_us - self._window_us if self._timed else None)
        return batch

    def flush(self, *, fragment: Fragment = "keep") -> Batch:
        """Release all that waits in the reorder window.

        `fragment` says what becomes of an unfinished last line: "keep" it for its newline (a
        file that still grows, a quiet live feed), "take" it where it decodes (RFC 4180 lets the
        last record of a finished file go without a line break) or else leave it, "reject" it as
        `half line` (the connection broke).
        """
        batch = self._batch = Batch()
        if fragment == "take":
            self._try_fragment()
        elif fragment == "reject":
            self._reject_fragment()
        self._release(None)
        self._find_gaps(len(self._unchecked))
        for edges in self._edges.values():
            edge = edges.settle()
            if edge is not None:
                batch.repeats -= 1  # it was counted as one while it waited
                batch.events.append(edge)
        return batch

    @property
    def waiting(self) -> int:
        """How many events wait in the reorder window."""
        return len(self._window)

    @property
    def fragment(self) -> bytes:
        """The unfinished last line, b"" without one."""
        return self._splitter.tail

    def state(self) -> dict[str, Any]:
        """All of the decoder as JSON values."""
        return {
            "version": 1,
            "splitter": self._splitter.state(),
            "layout": self._parser.layout,
            "sequence": self._sequence.state(),
            "window": self._window.state(),
            "unchecked": [list(item) for item in self._unchecked],
            "occurrences": self._occurrences.state(),
            "edges": {torch: edges.state() for torch, edges in self._edges.items()},
            "newest_us": self._newest_us,
            "line": self._line,
            "source": self._source,
            "arrival_us": self._arrival_us,
        }

    @classmethod
    def from_state(cls, description: Description, state: dict[str, Any]) -> Decoder:
        """The decoder that `state()` described, under the same description."""
        decoder = cls(description)
        decoder._splitter = LineSplitter.from_state(state["splitter"])
        decoder._parser.use_layout(state["layout"])
        decoder._sequence.restore(state["sequence"])
        decoder._window.restore(state["window"])
        decoder._unchecked = [list(item) for item in state["unchecked"]]
        decoder._occurrences.restore(state["occurrences"])
        for torch, values in state["edges"].items():
            decoder._edges[torch] = edges = Edges(decoder._debounce_us)
            edges.restore(values)
        decoder._newest_us = state["newest_us"]
        decoder._line = state["line"]
        decoder._source = state["source"]
        decoder._arrival_us = state["arrival_us"]
        return decoder

    def _change_source(self, source: str) -> None:
        if self._source is not None:
            self._reject_fragment()
        self._source = source
        self._line = 0
        self._splitter = LineSplitter()
        self._occurrences.clear()

    def _reject_fragment(self) -> None:
        line = self._splitter.take_fragment()
        if line is not None:
            self._line += 1
            self._batch.lines += 1
            self._reject(line, line.fault or "half line", "cut off before its line end")

    def _try_fragment(self) -> None:
        """Take the unfinished line where it decodes, else put all back as it was."""
        before = self.state()
        line = self._splitter.take_fragment()
        if line is None or line.fault:
            self._splitter = LineSplitter.from_state(before["splitter"])
            return
        batch = self._batch
        self._take(line)
        if batch.rejects:
            undone = Decoder.from_state(self.description, before)
            undone._batch = batch
            self.__dict__.update(undone.__dict__)
            batch.rejects.clear()
            batch.lines = 0

    def _take(self, line: RawLine) -> None:
        self._line += 1
        raw = line.raw
        if not raw or raw.isspace():
            return
        self._batch.lines += 1
        if line.fault:
            self._reject(line, line.fault, "")
            return
        text = ""
        try:
            body = raw if self._check is None else self._check(raw)
            try:
                text = body.decode(self._encoding)
            except UnicodeDecodeError as error:
                raise ParseError("not text", f"not {self._encoding}") from error
            if not text.isprintable() and _CONTROL.search(text):
                raise ParseError("not text", "control characters")
            self._decode(line, text)
        except ParseError as error:
            if text and self._parser.take_header(text):
                self._batch.lines -= 1
                return
            self._reject(line, error.reason, str(error))

    def _decode(self, line: RawLine, text: str) -> None:
        seq_text, stamp, word, value_text, torch = self._parser.parse(text)
        seq = None
        if self._has_seq:
            seq_text = _needed(seq_text, "seq")
            seq = _seq(seq_text)
        newest_us = self._newest_us
        if self._timed:
            stamp = _needed(stamp, "time")
            time_us, flags = self._stamp(stamp, newest_us)
        else:
            # feed_block has made sure that there is one.
            time_us, flags, stamp = self._arrival_us or 0, 0, ""
        session, is_duplicate = 0, False
        if seq is not None:
            session, is_duplicate = self._sequence.arrive(seq, time_us, newest_us)
        if time_us > newest_us:
            self._newest_us = time_us
        event = self._event(
            line, seq_text, seq, session, stamp, time_us, flags, word, value_text, torch
        )
        if is_duplicate and seq is not None:
            self._batch.duplicates.append(
                Duplicate(self._line, line.position, event.source, session, seq, event.key)
            )
        elif self._timed and time_us < newest_us - self._window_us:
            if self._is_level:
                raise ParseError("too late", "a level older than the reorder window")
            self._batch.late.append(event._replace(flags=flags | LATE))
        else:
            self._window.add(event)

    def _event(
        self,
        line: RawLine,
        seq_text: str | None,
        seq: int | None,
        session: int,
        stamp: str,
        time_us: int,
        flags: int,
        word: str | None,
        value_text: str | None,
        torch: str | None,
    ) -> Event:
        if stamp == "":
            key = position_key(self._source or "", line.position)
        elif seq_text is not None:
            key = seq_key(seq_text, stamp)
        else:
            occurrence = self._occurrences.count(line.raw, time_us, self._newest_us)
            key = stamp_key(stamp, line.raw, occurrence)
        kind = self._signals.get(word or "")
        if kind is None:
            kind = self._kind(word)
        torch = (torch.strip() if torch else "") or self._torch
        value = None
        text = None
        if kind == PROGRAM:
            # A program without a torch is the whole table's.
            torch = torch or ""
            text = (value_text or "").strip()
            if not text:
                raise ParseError("bad value", "a program without its name")
        elif kind >= SAMPLE_A:
            value = self._number(value_text)
        if torch is None:
            raise ParseError("no torch", "the line names no torch and the feed neither")
        return Event(
            key, time_us, kind, torch, seq, session, stamp, value, text, flags,
            line.position, self._line, self._arrival_us, self._source or "",
        )  # fmt: skip

    def _kind(self, word: str | None) -> int:
        """The kind of a word that is not listed as it stands."""
        word = (word or "").strip()
        kind = self._signals.get(word)
        if kind is None:
            if not word:
                raise ParseError("missing field", "no signal")
            reason = "unknown level" if self._is_level else "unknown signal"
            raise ParseError(reason, f"{word!r} is not listed")
        return kind

    def _number(self, text: str | None) -> float:
        text = (text or "").strip()
        if self._decimal == ",":
            text = text.replace(",", ".") if "." not in text else ""
        if not _NUMBER.match(text):
            raise ParseError("bad value", f"{text!r} is not a number")
        return float(text)

    def _release(self, until_us: int | None) -> None:
        batch = self._batch
        for event in self._window.release(until_us):
            if event.seq is not None:
                self._unchecked.append([event.session, event.seq, event.time_us, event.position])
            if not self._is_level:
                batch.events.append(event)
                continue
            edges = self._edges.get(event.torch)
            if edges is None:
                edges = self._edges[event.torch] = Edges(self._debounce_us)
            edge = edges.feed(event)
            if edge is None:
                batch.repeats += 1
            else:
                batch.events.append(edge)
        # Without stamps nothing is put in order, so late numbers get a few lines' grace instead.
        self._find_gaps(len(self._unchecked) - (0 if self._timed else NEAR))

    def _find_gaps(self, count: int) -> None:
        if count <= 0:
            return
        for session, seq, time_us, position in self._unchecked[:count]:
            for after, before in self._sequence.release(session, seq):
                self._batch.gaps.append(Gap(session, after, before, time_us, position))
        del self._unchecked[:count]

    def _reject(self, line: RawLine, reason: str, message: str) -> None:
        self._batch.rejects.append(
            Reject(
                self._line, line.position, self._source or "", reason, message or reason,
                line.raw[:KEEP_BYTES], self._arrival_us,
            )
        )  # fmt: skip


def _needed(text: str | None, name: str) -> str:
    text = text.strip() if text else ""
    if not text:
        raise ParseError("missing field", f"no {name}")
    return text


def _seq(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= _LONGEST_SEQ):
        raise ParseError("bad seq", f"{text!r} is not a running number")
    return int(text)
