"""Bytes to lines, with bounded memory and the position of every line.

A line ends at a newline; one carriage return before it goes too. A UTF-8 byte-order mark at
the start of the source is dropped. A source that begins with a UTF-16 mark is refused by name,
line by line (`utf-16`), because half of its bytes would be NULs.
"""

from __future__ import annotations

import base64
from typing import Any, Final, NamedTuple

MAX_LINE_BYTES: Final = 8192
KEEP_BYTES: Final = 1024  # of a line that is rejected

_BOM: Final = b"\xef\xbb\xbf"
_UTF16: Final = (b"\xff\xfe", b"\xfe\xff")


class RawLine(NamedTuple):
    """One finished line without its line end. `fault` is "" or a reject reason."""

    position: int  # of the line's first byte, as the caller counts
    raw: bytes
    fault: str


class LineSplitter:
    """Splits blocks of bytes at newlines; any split of the bytes gives the same lines."""

    def __init__(self) -> None:
        self._tail = b""
        self._tail_position = 0
        self._overlong = False  # the tail is the kept head of a line past the limit
        self._at_start = True
        self._utf16 = False

    @property
    def tail(self) -> bytes:
        """The unfinished last line (its head only, where it is overlong)."""
        return self._tail

    @property
    def between_lines(self) -> bool:
        """True where the next byte begins a line like any other."""
        return not (self._tail or self._at_start or self._utf16)

    def pass_over(self, position: int) -> None:
        """Whole lines up to `position` have been read by somebody else."""
        self._tail_position = position

    def feed(self, raw: bytes, position: int) -> list[RawLine]:
        """Lines finished by this block, whose first byte is at `position`."""
        if not raw:
            return []
        if not self._tail:
            self._tail_position = position
        if self._overlong:
            raw, position, lines = self._skip(raw, position)
        else:
            lines = []
        parts = raw.split(b"\n")
        if len(parts) == 1:
            self._keep(self._tail + raw if self._tail else raw)
            return lines
        start = position
        for index in range(len(parts) - 1):
            part = parts[index]
            following = start + len(part) + 1
            if self._tail:
                part = self._tail + part
                start = self._tail_position
                self._tail = b""
            if len(part) > MAX_LINE_BYTES or self._at_start or self._utf16:
                lines.append(self._finish(start, part))
            else:
                raw = part[:-1] if part[-1:] == b"\r" else part
                lines.append(RawLine(start, raw, ""))
            start = following
        self._tail_position = start
        self._keep(parts[-1])
        return lines

    def take_fragment(self) -> RawLine | None:
        """The unfinished last line, removed from the splitter; None where there is none."""
        if not self._tail:
            return None
        tail, self._tail = self._tail, b""
        if self._overlong:
            self._overlong = False
            return RawLine(self._tail_position, tail, "too long")
        return self._finish(self._tail_position, tail)

    def state(self) -> dict[str, Any]:
        """All of the splitter as JSON values."""
        return {
            "tail": base64.b64encode(self._tail).decode("ascii"),
            "tail_position": self._tail_position,
            "overlong": self._overlong,
            "at_start": self._at_start,
            "utf16": self._utf16,
        }

    @classmethod
    def from_state(cls, state: dict[str, Any]) -> LineSplitter:
        """The splitter that `state()` described."""
        splitter = cls()
        splitter._tail = base64.b64decode(state["tail"])
        splitter._tail_position = state["tail_position"]
        splitter._overlong = state["overlong"]
        splitter._at_start = state["at_start"]
        splitter._utf16 = state["utf16"]
        return splitter

    def _skip(self, raw: bytes, position: int) -> tuple[bytes, int, list[RawLine]]:
        """Pass over the rest of an overlong line."""
        end = raw.find(b"\n")
        if end < 0:
            return b"", position, []
        line = RawLine(self._tail_position, self._tail, "too long")
        self._overlong = False
        self._note_mark(self._tail)
        self._tail = b""
        self._tail_position = position + end + 1
        return raw[end + 1 :], position + end + 1, [line]

    def _keep(self, tail: bytes) -> None:
        # One more than the limit, for the carriage return of a line of exactly that length.
        if len(tail) > MAX_LINE_BYTES + 1:
            self._overlong = True
            tail = tail[:KEEP_BYTES]
        self._tail = tail

    def _note_mark(self, first: bytes) -> None:
        if self._at_start:
            self._at_start = False
            self._utf16 = first.startswith(_UTF16)

    def _finish(self, position: int, raw: bytes) -> RawLine:
        is_first = self._at_start
        self._note_mark(raw)
        if len(raw) > MAX_LINE_BYTES and len(raw) - raw.endswith(b"\r") > MAX_LINE_BYTES:
            return RawLine(position, raw[:KEEP_BYTES], "too long")
        if is_first and raw.startswith(_BOM):
            raw = raw[3:]
        if raw.endswith(b"\r"):
            raw = raw[:-1]
        if self._utf16:
            # What is left of a line end in two-byte letters is no line of its own.
            blank = not raw.strip(b"\x00\r")
            return RawLine(position, b"" if blank else raw[:KEEP_BYTES], "" if blank else "utf-16")
        return RawLine(position, raw, "")
