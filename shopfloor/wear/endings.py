"""How a piece's stay in a torch ended: which piece of a failure failed, and what that says of its
life."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final, Literal

from django.utils.translation import gettext as _

from shopfloor.models import FailureCause, PieceKind, PieceState

LifeEnd = Literal["failed", "planned", "collateral", "shelved", "running"]

ORDER: Final = (
    "electrode",
    "swirl_ring",
    "nozzle",
    "retaining_cap",
    "shield",
)  # as they are stacked
# Where each cause shows first: common practice, no source. Moisture eats the electrode first.
SHOWS_ON: Final = {
    FailureCause.PIT: PieceKind.ELECTRODE,
    FailureCause.OUT_OF_ROUND: PieceKind.NOZZLE,
    FailureCause.NICK: PieceKind.NOZZLE,
    FailureCause.DOUBLE_ARC: PieceKind.NOZZLE,
    FailureCause.SPATTER: PieceKind.SHIELD,
    FailureCause.BLOCKED_HOLE: PieceKind.SWIRL_RING,
    FailureCause.MOISTURE: PieceKind.ELECTRODE,
}
# Reasons as screens sent them before causes had codes: an entry may still wait on a tablet.
FORMER: Final = {
    "pit": FailureCause.PIT,
    "out of round": FailureCause.OUT_OF_ROUND,
    "nick": FailureCause.NICK,
    "double arc": FailureCause.DOUBLE_ARC,
    "spatter": FailureCause.SPATTER,
    "blocked hole": FailureCause.BLOCKED_HOLE,
    "moisture": FailureCause.MOISTURE,
}
_CAUSES: Final[dict[str, object]] = dict(FailureCause.choices)
_ENDS: Final[dict[str, LifeEnd]] = {
    PieceState.FAILED: "failed",
    PieceState.RETIRED: "planned",
    PieceState.SHELVED: "shelved",
    PieceState.CRASHED: "collateral",
    PieceState.LOST: "collateral",
}


def life_end(removal_state: str, *, collateral: bool) -> LifeEnd:
    """What a stay's end says of the piece's life; only "failed" is a failure of its own, any other
    end is censored. A blank state: it is still in."""
    if collateral:
        return "collateral"
    return _ENDS.get(removal_state, "running")


def failed_kind(kinds: Collection[str], cause: str) -> str | None:
    """The kind that failed, where several came out for one cause: the one the cause shows on, else
    the first of the stack. None where none of the kinds is known."""
    shows = SHOWS_ON.get(FailureCause(cause)) if cause in SHOWS_ON else None
    if shows in kinds:
        return shows
    return next((kind for kind in ORDER if kind in kinds), None)


def cause_words(cause: str) -> str:
    return str(_CAUSES.get(cause, cause))


def ending_words(cause: str, reason: str, *, collateral: bool) -> str:
    """Why it came out, for a page; "" where nobody said."""
    if collateral:
        told = _("changed with one that failed")
        return f"{told}, {cause_words(cause)}" if cause else told
    return ", ".join(word for word in (cause_words(cause), reason) if word)
