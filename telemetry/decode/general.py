"""From bytes to events: line splitting, parsing, sequence, reorder window and level edges."""

from __future__ import annotations

import re
from typing import Any, Final, Literal, Self

from telemetry.decode.event_key import Occurrences, position_key, seq_key, stamp_key
from telemetry.decode.lines import KEEP_BYTES, LineSplitter, RawLine
from telemetry.decode.release import ReleaseQueue
from telemetry.decode.sequence import Sequence
from telemetry.description import Description
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
    Reject,
)
from telemetry.parsers import make_parser
from telemetry.parsers.checksum import make_check
from telemetry.parsers.level import LevelParser
from telemetry.parsers.names import program_name, torch_name
from telemetry.parsers.numbers import decimal, running_number
from telemetry.parsers.stamps import SECOND_US, make_reader
from telemetry.said import said

Fragment = Literal["keep", "take", "reject"]

_CONTROL: Final = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")
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
        self._is_level = description.is_level
        self._encoding = line.encoding
        self._decimal = line.decimal
        self._torch = description.torch
        self._window_us = window_us
        self._signals = dict(description.signals)
        if self._is_level:
            words = dict.fromkeys(line.on, ARC_ON) | dict.fromkeys(line.off, ARC_OFF)
            listed = {w: k for w, k in self._signals.items() if k in (ARC_ON, ARC_OFF)}
            self._signals = listed if line.on_from else words | listed
        self._on_from = line.on_from
        self._check = make_check(line.checksum, line.separator)
        self._parser = make_parser(description)
        parser = self._parser
        self._beside = (
            parser.beside
            if isinstance(parser, LevelParser) and description.polls_tell_more
            else None
        )
        self._stamp = make_reader(time.format, time.zone, window_us)
        self._splitter = LineSplitter()
        self._sequence = Sequence(window_us, timed=self._timed)
        debounce_us = round(line.debounce_s * SECOND_US)
        self._queue = ReleaseQueue(
            self._sequence,
            window_us=window_us,
            timed=self._timed,
            has_seq=self._has_seq,
            debounce_us=debounce_us if self._is_level else None,
            counts_to=line.counts_to if "pierces" in line.columns else None,
        )
        self._occurrences = Occurrences(window_us + SECOND_US)
        self._newest_us = 0
        self._line = 0
        self._source = ""
        self._arrival_us: int | None = None
        self._batch = _EMPTY

    def feed_block(
        self, raw: bytes, *, position: int, arrival_us: int | None, source: str
    ) -> Batch:
        """Decode a block whose first byte is at `position`.

        `arrival_us` is when the block came in; needed where times come from arrival (ValueError
        without it), else it only goes along on the events.
        """
        batch = self._begin(arrival_us, source)
        for line in self._splitter.feed(raw, position):
            self._take(line)
        self._queue.release_due(self._newest_us, batch)
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
        self._queue.release_all(batch)
        return batch

    @property
    def waiting(self) -> int:
        """How many events wait in the reorder window."""
        return len(self._queue.window)

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
            "outlet": self._queue.state(),
            "occurrences": self._occurrences.state(),
            "newest_us": self._newest_us,
            "line": self._line,
            "source": self._source,
            "arrival_us": self._arrival_us,
        }

    @classmethod
    def from_state(cls, description: Description, state: dict[str, Any]) -> Self:
        """The decoder that `state()` described, under the same description."""
        decoder = cls(description)
        decoder._splitter = LineSplitter.from_state(state["splitter"])
        decoder._parser.use_layout(state["layout"])
        decoder._sequence.restore(state["sequence"])
        decoder._queue.restore(state["outlet"])
        decoder._occurrences.restore(state["occurrences"])
        decoder._newest_us = state["newest_us"]
        decoder._line = state["line"]
        decoder._source = state["source"]
        decoder._arrival_us = state["arrival_us"]
        return decoder

    def _begin(self, arrival_us: int | None, source: str) -> Batch:
        if arrival_us is None and not self._timed:
            raise ValueError("times come from arrival, so every block needs its arrival_us")
        self._batch = Batch()
        if source != self._source:
            self._change_source(source)
        self._arrival_us = arrival_us
        return self._batch

    def _change_source(self, source: str) -> None:
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
            self._reject(line, line.fault or "half line", said("cut off before its line end"))

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
                raise ParseError(
                    "not text", said("not {encoding}", encoding=self._encoding)
                ) from error
            if not text.isprintable() and _CONTROL.search(text):
                raise ParseError("not text", said("control characters"))
            self._decode(line, text)
        except ParseError as error:
            if text and self._parser.take_header(text):
                self._batch.lines -= 1
                return
            self._reject(line, error.reason, str(error))

    def _decode(self, line: RawLine, text: str) -> None:
        """One line of text to an event; straight on, because every line comes through here."""
        seq_text, stamp, word, value_text, torch = self._parser.parse(text)
        newest_us = self._newest_us
        seq = None
        if self._has_seq:
            seq = running_number(seq_text)
        if self._timed:
            stamp = (stamp or "").strip()
            if not stamp:
                raise ParseError("missing field", said("no time"))
            time_us, flags, mark = self._stamp(stamp, newest_us)
        else:
            # feed_block has made sure that there is one.
            time_us, flags, mark, stamp = self._arrival_us or 0, 0, 0, ""
        session, is_duplicate = 0, False
        if seq is not None:
            if seq == self._sequence.next_seq and time_us >= newest_us:
                session = self._sequence.follow(seq, time_us)
            else:
                self._queue.release_due(newest_us, self._batch)
                session, is_duplicate = self._sequence.arrive(seq, time_us, newest_us)
        if time_us > newest_us:
            self._newest_us = time_us
        position = line.position
        value = name = None
        try:
            kind = self._signals.get(word or "") or self._kind(word)
            own = self._torch
            if kind == PROGRAM:
                own = own or ""  # a program without a torch is the whole table's
                name = program_name(value_text)
            elif kind >= SAMPLE_A:
                value = decimal(value_text, self._decimal)
            elif self._beside is not None:
                value, name = self._beside(text)
            torch = torch_name(torch, own)
        except ParseError:
            if seq is not None and not is_duplicate:
                # It came, whatever it says: what is missing before it is missing.
                self._queue.reserve_refused(session, seq, time_us, position, newest_us)
            raise
        if not self._timed:
            key = position_key(self._source, position)
        elif seq is not None:
            key = seq_key(seq, mark)
        else:
            number = self._occurrences.count(line.raw, time_us, self._newest_us)
            key = stamp_key(mark, line.raw, number)
        event = Event(
            key, time_us, kind, torch, seq, session, stamp, value, name, flags,
            position, self._line, self._arrival_us, self._source,
        )  # fmt: skip
        if is_duplicate:
            self._batch.duplicates.append(
                Duplicate(self._line, position, self._source, session, seq or 0, key)
            )
        elif self._timed and time_us < newest_us - self._window_us:
            if self._is_level:
                raise ParseError("too late", said("a level older than the reorder window"))
            self._batch.late.append(event._replace(flags=flags | LATE))
        else:
            self._queue.window.add(event)

    def _kind(self, word: str | None) -> int:
        """The kind of a word that is not listed as it stands."""
        word = (word or "").strip()
        kind = self._signals.get(word)
        if kind is None:
            if not word:
                raise ParseError("missing field", said("no signal"))
            if self._on_from:
                return ARC_ON if decimal(word, self._decimal) >= self._on_from else ARC_OFF
            raise ParseError(
                "unknown level" if self._is_level else "unknown signal",
                said("{word!r} is not listed", word=word),
            )
        return kind

    def _reject(self, line: RawLine, reason: str, message: str) -> None:
        self._batch.rejects.append(
            Reject(
                self._line, line.position, self._source, reason, message or reason,
                line.raw[:KEEP_BYTES], self._arrival_us,
            )
        )  # fmt: skip
