"""The decoder of live intake, where lines come a few at a time: too few for arrays, and a hundred
sources of them at once.

What is plain here is less than the decoder takes, and read to exactly the same (tests hold the two
against each other); every other line goes the decoder's own way.
"""

from __future__ import annotations

from bisect import bisect_right
from operator import itemgetter
from typing import Final

from telemetry.decode.column_reader import PlainReader
from telemetry.decode.columnar import BulkDecoder
from telemetry.decode.event_key import seq_key
from telemetry.description import Description
from telemetry.errors import ParseError
from telemetry.events import LONGEST_TORCH, PROGRAM, SAMPLE_A, Batch, Event
from telemetry.jsontext import as_json
from telemetry.parsers.base import FIELDS
from telemetry.parsers.numbers import decimal
from telemetry.parsers.stamps import EARLIEST_US, LATEST_US, SECOND_US, IsoReader

_LARGE: Final = 8_000  # bytes from which on arrays are quicker
_PRINTABLE: Final = bytes({*range(32, 127)} - {34}) + b"\r\n"
_MINUTE_US: Final = 60 * SECOND_US
_CACHED: Final = 4096
_COUNTS_US: Final = {19: 1_000_000, 23: 1_000, 26: 1}  # by a stamp's length, what its digits count
_SEQ_DIGITS: Final = 18
_MARKS: Final = (":", ":.")  # before the seconds, and behind them
_TIME: Final = itemgetter(1)
_made: Final = tuple.__new__  # an event's own way of being made takes twice as long


class LiveDecoder(BulkDecoder):
    """Decodes to the same events, state and all else as BulkDecoder."""

    def __init__(self, description: Description) -> None:
        super().__init__(description)
        self._takes_few = PlainReader.make(description) is not None
        self._iso = IsoReader(description.time.zone, 0)
        self._separator = description.line.separator
        self._printable = _PRINTABLE + self._separator.encode()
        self._minutes: dict[str, tuple[int, int] | None] = {}
        self._values: dict[str, float | None] = {}
        self._placed: tuple[list[str] | None, tuple[int, ...], str] = (None, (), "null")

    def feed_block(
        self, raw: bytes, *, position: int, arrival_us: int | None, source: str
    ) -> Batch:
        few = self._takes_few and len(raw) < _LARGE and not raw.translate(None, self._printable)
        if not few:
            return super().feed_block(raw, position=position, arrival_us=arrival_us, source=source)
        batch = self._begin(arrival_us, source)
        first, last = 0, raw.rfind(b"\n") + 1
        splitter = self._splitter
        if not splitter.between_lines:
            first = raw.find(b"\n") + 1
            self._lines(raw[:first], position)
        if first < last and splitter.between_lines:
            self._few(raw[first:last], position + first)
            splitter.pass_over(position + last)
            first = last
        if first < len(raw):
            self._lines(raw[first:], position + first)
        if self._outlet.waits:
            self._outlet.let_go(self._newest_us, batch)
        return self._in_runs(batch)

    def state_text(self) -> str:
        """`state` as JSON text, at a quarter of the time: it is wanted for every few lines."""
        layout = self._parser.layout
        known, _, placed = self._placed
        layout_text = placed if layout is known else as_json(layout)
        arrival_us = "null" if self._arrival_us is None else self._arrival_us
        return (
            f'{{"version": 1, "splitter": {self._splitter.state_text()}, '
            f'"layout": {layout_text}, "sequence": {self._sequence.state_text()}, '
            f'"outlet": {self._outlet.state_text()}, '
            f'"occurrences": {as_json(self._occurrences.state())}, '
            f'"newest_us": {self._newest_us}, "line": {self._line}, '
            f'"source": {as_json(self._source)}, "arrival_us": {arrival_us}}}'
        )

    def _few(self, raw: bytes, position: int) -> None:
        """Whole lines of printable ASCII without quotes."""
        at, events = 0, list[Event]()
        places = self._places()
        for line in raw.decode("ascii").split("\n")[:-1]:
            event = self._plainly(line, places, position + at)
            end = at + len(line) + 1
            if event is not None:
                events.append(event)
            else:
                self._let_in(events)
                events = []
                self._lines(raw[at:end], position + at)
                places = self._places()  # it may have been a header
            at = end
        self._let_in(events)

    def _places(self) -> tuple[int, ...]:
        """How many columns there are, and which of them each field is (-1: none)."""
        layout = self._parser.layout or []
        if self._placed[0] is not layout:
            at = [layout.index(field) if field in layout else -1 for field in FIELDS]
            self._placed = layout, (len(layout), *at), as_json(layout)
        return self._placed[1]

    def _plainly(self, line: str, places: tuple[int, ...], position: int) -> Event | None:
        """A line that plainly goes on, as an event; None, and nothing changed, for any other."""
        width, at_seq, at_time, at_signal, at_value, at_torch = places
        if "\r" in line:
            line = line.removesuffix("\r")
        fields = line.split(self._separator)
        if len(fields) != width or "\r" in line:
            return None
        kind = self._signals.get(fields[at_signal], PROGRAM)
        if kind == PROGRAM or not (digits := fields[at_seq]).isdigit() or len(digits) > _SEQ_DIGITS:
            return None
        seq, stamp = int(digits), fields[at_time]
        when = self._when(stamp)
        if when is None or seq != self._sequence.next_seq or when[0] < self._newest_us:
            return None
        value = None
        if kind >= SAMPLE_A:
            value = self._number(fields[at_value] if at_value >= 0 else "")
            if value is None:
                return None
        torch = fields[at_torch].strip() if at_torch >= 0 else ""
        torch = torch or self._torch or ""
        if not torch or len(torch) > LONGEST_TORCH:
            return None
        time_us, mark = when
        session = self._sequence.follow(seq, time_us)
        self._newest_us = time_us
        self._line += 1
        self._batch.lines += 1
        return _made(
            Event,
            (
                seq_key(seq, mark), time_us, kind, torch, seq, session, stamp, value, None, 0,
                position, self._line, self._arrival_us, self._source,
            ),
        )  # fmt: skip

    def _when(self, stamp: str) -> tuple[int, int] | None:
        """Time and mark of a plain ISO stamp, without an offset or with Z."""
        zulu = stamp[-1:] == "Z"
        body = stamp[:-1] if zulu else stamp
        digits = body[17:19] + body[20:]
        counts_us = _COUNTS_US.get(len(body))
        if counts_us is None or body[16] + body[19:20] not in _MARKS or not digits.isdigit():
            return None
        past_us = int(digits) * counts_us
        head = body[:16] + "Z" if zulu else body[:16]
        minute = self._minutes.get(head)
        if minute is None:
            if head in self._minutes:
                return None
            minute = self._minute(head, zulu)
        if minute is None or past_us >= _MINUTE_US:
            return None
        return minute[0] + past_us, minute[1] + (past_us << 12)

    def _minute(self, head: str, zulu: bool) -> tuple[int, int] | None:
        """Time and mark of a minute's start; None where it is no plain one."""
        if len(self._minutes) >= _CACHED:
            self._minutes.clear()
        found = None
        try:
            first, second, mark = self._iso.minute(head[:16], "Z" if zulu else None)
        except ParseError:
            pass
        else:
            if first == second and EARLIEST_US <= first <= LATEST_US - _MINUTE_US:
                found = first, mark
        self._minutes[head] = found
        return found

    def _number(self, text: str) -> float | None:
        """What a sample says; None where that is no number."""
        value = self._values.get(text)
        if value is None and text not in self._values:
            if len(self._values) >= _CACHED:
                self._values.clear()
            try:
                value = decimal(text, self._decimal)
            except ParseError:
                value = None
            self._values[text] = value
        return value

    def _let_in(self, events: list[Event]) -> None:
        """Events that each followed the one before, behind all that waits."""
        if not events:
            return
        until_us = self._newest_us - self._window_us
        leave = 0
        if events[0].time_us <= until_us:
            leave = bisect_right(events, until_us, key=_TIME)
            first, last = events[0], events[leave - 1]
            seqs = (first.seq or 0, last.seq or 0)
            self._outlet.pass_through(
                self._batch, first.session, seqs, first.time_us, first.position
            )
            self._batch.events += events[:leave]
        for event in events[leave:]:
            self._outlet.window.add(event)
