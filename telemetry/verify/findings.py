"""What a check found wrong, in words for the shop's owner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
SHOWN = 3  # examples in one finding


@dataclass(frozen=True, slots=True)
class Finding:
    """`what` is a short fixed name of the kind of fault, `where` the source, run, month or file it
    is in, `text` a whole sentence. `fault` False: told, but nothing is wrong."""

    what: str
    where: str
    text: str
    fault: bool = True

    def as_json(self) -> dict[str, object]:
        return asdict(self)


def moment(us: float) -> str:
    """A stored instant for a sentence: UTC, to the second."""
    at = _EPOCH + timedelta(microseconds=int(us))
    return f"{at:%Y-%m-%d %H:%M:%S} UTC"


def listed(examples: Sequence[str], count: int) -> str:
    """The first few of `count` things."""
    shown = "; ".join(examples[:SHOWN])
    more = count - min(len(examples), SHOWN)
    return f"{shown}; and {more} more" if more > 0 else shown
