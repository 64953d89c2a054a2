"""The decoder of live intake, where lines come a few at a time: too few for arrays, and a hundred
sources of them at once.

A line is plain here if it has all the stated columns, nothing but printable ASCII without quotes,
an ISO stamp without an offset or with Z that has one meaning, a listed signal word other than a
program's, and follows the line before. It is matched as a whole and skips the reorder window where
nothing waits there for it. Every other line goes the general decoder's way (tests hold the two
against each other).
"""

from __future__ import annotations

import re
from bisect import bisect_right
from functools import lru_cache
from operator import itemgetter
from typing import Final

from telemetry.decode.columnar import ColumnarDecoder
from telemetry.decode.event_key import seq_key
from telemetry.description import Description
from telemetry.errors import ParseError
from telemetry.events import PROGRAM, SAMPLE_A, Batch, Event
from telemetry.parsers.names import torch_name
from telemetry.parsers.numbers import decimal
from telemetry.parsers.stamps import EARLIEST_US, LATEST_US, SECOND_US, IsoReader

_LARGE: Final = 4096  # bytes from which on arrays are quicker
_MINUTES: Final = 256  # kept of one source
_NAMES: Final = ("seq", "time", "minute", "second", "part", "zulu", "signal", "value", "torch")
_FORMS: Final = {
    "seq": r"(?P<seq>[0-9]{1,18})",
    "time": r"(?P<time>(?P<minute>[0-9-]{10}[T ][0-9:]{5}):(?P<second>[0-5][0-9])"
    r"(?:\.(?P<part>[0-9]{1,6}))?(?P<zulu>Z?))",
}
_TIME: Final = itemgetter(1)
_made: Final = tuple.__new__  # an event's own way of being made takes twice as long
_decimal: Final = lru_cache(4096)(decimal)  # a source says the same few numbers all day


class FewLinesDecoder(ColumnarDecoder):
    """Decodes to the same events, state and all else as ColumnarDecoder and Decoder."""

    def __init__(self, description: Description) -> None:
        super().__init__(description)
        self._iso = IsoReader(description.time.zone, 0)
        self._minute = lru_cache(_MINUTES)(self._read_minute)

    def feed_block(
        self, raw: bytes, *, position: int, arrival_us: int | None, source: str
    ) -> Batch:
        if self._plain is None or len(raw) >= _LARGE:
            return super().feed_block(raw, position=position, arrival_us=arrival_us, source=source)
        batch = self._begin(arrival_us, source)
        text, at = raw.decode("latin-1"), 0
        while at < len(raw):
            if self._splitter.between_lines:
                at = self._few(text, at, position)
                self._splitter.pass_over(position + at)
            end = raw.find(b"\n", at) + 1 or len(raw)
            self._lines(raw[at:end], position + at)
            at = end
        if self._queue.waits:
            self._queue.release_due(self._newest_us, batch)
        return self._in_runs(batch)

    def _few(self, text: str, at: int, position: int) -> int:
        """Takes lines from `at` on while they plainly go on; returns where they end."""
        form, groups = _form_of(self.description.line.separator, tuple(self._parser.layout or ()))
        events = list[Event]()
        while (found := form.match(text, at)) is not None:
            event = self._plainly(found.group(*groups), position + at)
            if event is None:
                break
            events.append(event)
            at = found.end()
        if events:
            self._let_in(events)
        return at

    def _plainly(self, said: tuple[str, ...], position: int) -> Event | None:
        """The event of a line that plainly goes on; None, and nothing changed, for any other."""
        digits, stamp, head, second, part, zulu, word, number, named = said
        kind, seq = self._signals.get(word, PROGRAM), int(digits)
        minute = self._minute(head, zulu)
        if kind == PROGRAM or seq != self._sequence.next_seq or minute is None:
            return None
        past_us = int(second) * SECOND_US + (int(part.ljust(6, "0")) if part else 0)
        time_us = minute[0] + past_us
        if time_us < self._newest_us:
            return None
        try:
            value = _decimal(number, ".") if kind >= SAMPLE_A else None
            torch = torch_name(named, self._torch)
        except ParseError:
            return None
        session = self._sequence.follow(seq, time_us)
        self._newest_us = time_us
        self._line += 1
        self._batch.lines += 1
        return _made(
            Event,
            (
                seq_key(seq, minute[1] + (past_us << 12)), time_us, kind, torch, seq, session,
                stamp, value, None, 0, position, self._line, self._arrival_us, self._source,
            ),
        )  # fmt: skip

    def _read_minute(self, head: str, zulu: str) -> tuple[int, int] | None:
        """Time and mark of a minute's start; None where it is no plain one."""
        try:
            early, late, mark = self._iso.minute(head, zulu or None)
        except ParseError:
            return None
        within = EARLIEST_US <= early <= LATEST_US - 60 * SECOND_US
        return (early, mark) if early == late and within else None

    def _let_in(self, events: list[Event]) -> None:
        """Events that each followed the one before, behind all that waits."""
        leave = bisect_right(events, self._newest_us - self._window_us, key=_TIME)
        if leave:
            first, last = events[0], events[leave - 1]
            seqs = (first.seq or 0, last.seq or 0)
            self._queue.pass_through(
                self._batch, first.session, seqs, first.time_us, first.position
            )
            self._batch.events += events[:leave]
        for event in events[leave:]:
            self._queue.window.add(event)


@lru_cache(256)
def _form_of(separator: str, layout: tuple[str, ...]) -> tuple[re.Pattern[str], list[int]]:
    """A plain line of these columns, and its groups in the order of _NAMES."""
    letters = "".join(chr(code) for code in range(32, 127) if chr(code) not in f'"{separator}')
    word = f"[{re.escape(letters)}]*"
    forms = {"ignore": word, **_FORMS}
    fields = [forms.get(name, f"(?P<{name}>{word})") for name in layout]
    absent = "".join(f"(?P<{name}>)" for name in ("value", "torch") if name not in layout)
    form = re.compile(re.escape(separator).join(fields) + absent + r"\r?\n")
    return form, [form.groupindex[name] for name in _NAMES]
