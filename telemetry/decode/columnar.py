"""The decoder for long inputs: what plainly goes on is taken by the run, the rest line by line."""

from __future__ import annotations

import numpy as np

from telemetry.decode.column_reader import About, Block, ColumnReader
from telemetry.decode.general import Decoder, Fragment
from telemetry.description import Description
from telemetry.events import Batch, Run

_SMALL = 4096  # bytes below which a line at a time is quicker: laying out arrays has its price
_SHORT = 4  # lines; likewise
_HEADERS = 8  # that move columns in one block; after each the arrays are laid out anew


class ColumnarDecoder(Decoder):
    """Decodes to the same events, state and all else as Decoder; gives them as `Batch.runs`."""

    def __init__(self, description: Description) -> None:
        super().__init__(description)
        self._plain = ColumnReader.make(description)

    def feed_block(
        self, raw: bytes, *, position: int, arrival_us: int | None, source: str
    ) -> Batch:
        last = raw.rfind(b"\n") + 1
        if self._plain is None or last < _SMALL:
            batch = super().feed_block(raw, position=position, arrival_us=arrival_us, source=source)
            return self._in_runs(batch)
        batch = self._begin(arrival_us, source)
        first = raw.find(b"\n") + 1  # may finish a line of the block before, or begin with a mark
        self._lines(raw[:first], position)
        if self._splitter.between_lines:
            self._whole_lines(raw[first:last], position + first)
        else:
            self._lines(raw[first:last], position + first)
        self._lines(raw[last:], position + last)
        self._queue.release_due(self._newest_us, batch)
        return self._in_runs(batch)

    def flush(self, *, fragment: Fragment = "keep") -> Batch:
        return self._in_runs(super().flush(fragment=fragment))

    def _in_runs(self, batch: Batch) -> Batch:
        if batch.events:
            batch.runs.append(Run(batch.events, None))
            batch.events = []
        return batch

    def _lines(self, raw: bytes, position: int) -> None:
        for line in self._splitter.feed(raw, position):
            self._take(line)

    def _whole_lines(self, raw: bytes, position: int) -> None:
        done = 0
        for _ in range(_HEADERS):
            done += self._to_next_layout(raw[done:], position + done)
            self._splitter.pass_over(position + done)
        self._lines(raw[done:], position + done)

    def _to_next_layout(self, raw: bytes, position: int) -> int:
        """Takes whole lines up to a header that moves the columns; returns how many bytes that
        were."""
        layout = self._parser.layout
        if self._plain is None or layout is None or not raw:
            return 0
        block = self._plain.read(raw, layout)
        seqs, times_us = block.lines.seqs, block.lines.times_us
        at = turn = 0
        while at < len(block.starts):
            while block.breaks[turn] <= at:
                turn += 1
            end = block.breaks[turn]
            goes_on = (
                end - at >= _SHORT and block.plain[at]
                and seqs[at] == self._sequence.next_seq and times_us[at] >= self._newest_us
            )  # fmt: skip
            if goes_on:
                self._run(block, at, end, position)
                at = end
                continue
            start = int(block.starts[at])
            self._lines(raw[start : block.ends[at]], position + start)
            at += 1
            if self._parser.layout != layout:
                return int(block.ends[at - 1])
        return len(raw)

    def _run(self, block: Block, first: int, last: int, position: int) -> None:
        """Takes lines `first` to before `last`, each plainly the next."""
        lines, batch = block.lines.part(first, last), self._batch
        times_us = lines.times_us
        newest_us = int(times_us[-1])
        session = self._sequence.follow_all(lines.seqs, times_us)
        cut = int(np.searchsorted(times_us, newest_us - self._window_us, side="right"))
        if cut:
            ends = (int(lines.seqs[0]), int(lines.seqs[cut - 1]))
            at = position + int(block.starts[first])
            self._queue.pass_through(batch, session, ends, int(times_us[0]), at)
            batch.runs.append(Run(batch.events, lines.part(0, cut), self._arrival_us, session))
            batch.events = []
        line = self._line + cut + 1
        about = About(session, position, line, self._arrival_us, self._source)
        for event in block.events(first + cut, last, about):
            self._queue.window.add(event)
        self._newest_us = newest_us
        self._line += last - first
        batch.lines += last - first
