"""Bytes to lines, with bounded memory and the position of every line."""

from __future__ import annotations

from typing import Any, Final, NamedTuple

MAX_LINE_BYTES: Final = 8192
KEEP_BYTES: Final = 1024  # of a line that is rejected


class RawLine(NamedTuple):
    """One finished line without its line end. `fault` is "" or a reject reason."""

    position: int  # of the line's first byte, as the caller counts
    raw: bytes
    fault: str


class LineSplitter:
    """Splits blocks of bytes at newlines; any split of the bytes gives the same lines."""

    def feed(self, raw: bytes, position: int) -> list[RawLine]:
        """Lines finished by this block, whose first byte is at `position`."""
        raise NotImplementedError

    def take_fragment(self) -> RawLine | None:
        """The unfinished last line, removed from the splitter; None where there is none."""
        raise NotImplementedError

    def state(self) -> dict[str, Any]:
        """All of the splitter as JSON values."""
        raise NotImplementedError

    @classmethod
    def from_state(cls, state: dict[str, Any]) -> LineSplitter:
        """The splitter that `state()` described."""
        raise NotImplementedError
