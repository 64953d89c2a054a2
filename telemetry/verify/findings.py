"""What a check found wrong: a code, where, and a message with its values, which is said to the
shop's owner where it is shown (`finding_words`)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from telemetry.said import noop as N_
from telemetry.said import restored, said, stored, to_reader

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
SHOWN = 3  # examples in one finding
# What can be found: codes that are kept, and their own labels.
KINDS = (
    N_("thinning record damaged"), N_("journal thinned"), N_("journal too short"),
    N_("journal cannot be decoded"), N_("lines miscounted"), N_("lines missing"),
    N_("lines extra"), N_("lines changed"), N_("lines mistimed"), N_("thinned lines differ"),
    N_("thinned refused lines differ"), N_("refused lines differ"), N_("repeats miscounted"),
    N_("sums differ"), N_("arcs misplaced"), N_("arcs differ"), N_("strays differ"),
    N_("segment damaged"), N_("records missing"), N_("database damaged"), N_("references broken"),
    N_("not an integer"), N_("audit incomplete"), N_("file missing"), N_("file unreadable"),
    N_("file changed"), N_("leftover files"), N_("program changed"),
    N_("assignments without an arc"), N_("assignments waiting"), N_("runs inconsistent"),
    N_("segments inconsistent"), N_("too many parts"), N_("parts below zero"),
    N_("reversal wrong"), N_("books differ"), N_("wear differs"), N_("closed month changed"),
    N_("records unreadable"), N_("thinning failed"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Finding:
    """`what` is a short fixed name of the kind of fault, `where` the source, run, month or file it
    is in, `text` a whole sentence with its values. `fault` False: told, but nothing is wrong."""

    what: str
    where: str
    text: str
    fault: bool = True

    def as_json(self) -> dict[str, object]:
        return {**asdict(self), **stored(self.text)}


def moment(us: float) -> str:
    """A stored instant for a sentence: UTC, to the second."""
    at = _EPOCH + timedelta(microseconds=int(us))
    return f"{at:%Y-%m-%d %H:%M:%S} UTC"


def listed(examples: Sequence[str], count: int) -> list[str]:
    """The first few of `count` things, as a value of a message."""
    shown = list(examples[:SHOWN])
    left = count - len(shown)
    return [said("{shown}; and {left} more", shown=shown, left=left)] if left > 0 else shown


def finding_words(kept: Mapping[str, Any]) -> str:
    """A finding as it was kept (`as_json`), in the language of whoever reads."""
    return to_reader(restored(kept))
