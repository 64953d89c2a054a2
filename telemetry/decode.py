"""From bytes to events: line splitting, parsing, sequence, reorder window and level edges."""

from __future__ import annotations

from typing import Any, Literal

from telemetry.description import Description
from telemetry.events import Batch

Fragment = Literal["keep", "take", "reject"]


class Decoder:
    """Decodes one feed's bytes; pure, so a rebuild from the journal gives what live intake gave.

    Feed blocks in order of their position. Keep `state()` in the same transaction as the rows
    of the batch: `from_state` then goes on at the next byte with identical results. `source`
    names the file generation or journal the bytes are from; where it changes, line numbers
    start again and a half line of the old source is rejected.
    """

    def __init__(self, description: Description) -> None:
        self.description = description

    def feed_block(
        self, raw: bytes, *, position: int, arrival_us: int | None, source: str
    ) -> Batch:
        """Decode a block whose first byte is at `position`.

        `arrival_us` is when the block came in; needed where times come from arrival (ValueError
        without it), else it only goes along on the events.
        """
        raise NotImplementedError

    def flush(self, *, fragment: Fragment = "keep") -> Batch:
        """Release all that waits in the reorder window.

        `fragment` says what becomes of an unfinished last line: "keep" it for its newline (a
        file that still grows, a quiet live feed), "take" it where it decodes (RFC 4180 lets the
        last record of a finished file go without a line break) or else leave it, "reject" it as
        `half line` (the connection broke).
        """
        raise NotImplementedError

    @property
    def waiting(self) -> int:
        """How many events wait in the reorder window."""
        raise NotImplementedError

    @property
    def fragment(self) -> bytes:
        """The unfinished last line, b"" without one."""
        raise NotImplementedError

    def state(self) -> dict[str, Any]:
        """All of the decoder as JSON values."""
        raise NotImplementedError

    @classmethod
    def from_state(cls, description: Description, state: dict[str, Any]) -> Decoder:
        """The decoder that `state()` described, under the same description."""
        raise NotImplementedError
