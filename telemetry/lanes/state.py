"""What one lane of a feed remembers between records, and how that is saved with its rows."""

from __future__ import annotations

from typing import Any

from telemetry.decode.few_lines import FewLinesDecoder
from telemetry.description import Description
from telemetry.description.versions import Versions
from telemetry.journal import Position
from telemetry.lanes.gathered import Clock
from telemetry.lanes.recent_counts import RecentCounts


class LaneState:
    """Decoder, position, and what was counted: all that later lines depend on."""

    def __init__(
        self,
        name: str,
        versions: Versions,
        *,
        position: Position,
        state: dict[str, Any],
    ) -> None:
        self.name = name
        self.position = position
        self._versions = versions
        self._version: int = state.get("version", 0)
        self._stream: int = state.get("stream", 0)
        self._reread: bool = state.get("reread", False)
        self._lost: bool = state.get("lost", False)  # records right before here cannot be read
        self._source: str = state.get("source", "")
        self.bytes_end: int = state.get("bytes_end", 0)
        self.due: dict[str, list[int]] = state.get("due", {})  # when it was loaded
        self._tie: list[int] = state.get("tie", [-1, 0])
        self._ties: dict[str, list[int]] = state.get("ties", {})  # by torch, of polls
        self._rejects = RecentCounts(state.get("rejects", {}))
        self._repeats = RecentCounts(state.get("repeats", {}))
        self._clocks = [Clock(*values) for values in state.get("clocks", [])]
        self._decoder: FewLinesDecoder | None = None
        self.description: Description | None = None
        if self._version:
            self.description = versions.description(self._version)
            self._decoder = FewLinesDecoder.from_state(self.description, state["decoder"])

    @property
    def version(self) -> int:
        """Of the description in force; 0 before the first."""
        return self._version

    @property
    def clock_version(self) -> int:
        return self._clocks[-1].version if self._clocks else 0

    @property
    def _knows_pierces(self) -> bool:
        return self.description is not None and self.description.knows.pierces

    @property
    def _tells_more(self) -> bool:
        return self.description is not None and self.description.polls_tell_more

    @property
    def waiting(self) -> int:
        """Events in the reorder window."""
        return 0 if self._decoder is None else self._decoder.waiting

    def state(self) -> dict[str, Any]:
        """All that decoding goes on from, as JSON values."""
        return {
            "version": self._version,
            "stream": self._stream,
            "reread": self._reread,
            "lost": self._lost,
            "source": self._source,
            "bytes_end": self.bytes_end,
            "tie": self._tie,
            **({"ties": self._ties} if self._ties else {}),
            "rejects": dict(self._rejects.counts),
            "repeats": dict(self._repeats.counts),
            "clocks": [[c.version, c.offset_us, c.from_us, c.heard_from_us] for c in self._clocks],
            "decoder": {} if self._decoder is None else self._decoder.state(),
        }
