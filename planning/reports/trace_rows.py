"""How opened figures are written: amounts, minutes, evidence, and long lists cut short."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from planning.reports.frames import coverage_of, currency
from planning.reports.shapes import Coverage, OpenedRow
from shopfloor.models import PostingKind

MOST = 200
WORDS = ("measured", "entered", "planned", "unknown")
SHOP = "0"  # in a key, for what belongs to no job

Say = Callable[[int | None], str]


def say_money() -> Say:
    """How amounts are said in the shop's currency. One query, for any number of amounts."""
    of = currency()
    digits = of["currency_digits"]

    def say(minor: int | None) -> str:
        if minor is None:
            return "unknown"
        sign = "−" if minor < 0 else ""
        whole, rest = divmod(abs(minor), 10**digits)
        cents = f".{rest:0{digits}d}" if digits else ""
        return f"{sign}{whole:,}{cents} {of['currency']}"

    return say


def kind_label(kind: str) -> str:
    return str(PostingKind(kind).label) if kind in PostingKind.values else kind


def evidence_of(pairs: Iterable[tuple[str, float]]) -> str:
    """The evidence that carries a total; its shares where it is mixed."""
    found: Coverage = coverage_of(pairs, "")
    words = {word: found.share(word) or 0.0 for word in WORDS}
    present = [f"{word} {share * 100:.0f} %" for word, share in words.items() if share >= 0.005]
    if len(present) == 1:
        return present[0].split()[0]
    return ", ".join(present) or "unknown"


def minutes(seconds: float | None) -> str:
    """12.4 min, or 4.9 s below a minute."""
    if seconds is None:
        return "unknown"
    return f"{seconds:,.1f} s" if abs(seconds) < 60 else f"{seconds / 60:,.1f} min"


def signed(text: str) -> str:
    """A difference: what is not below nothing gets its plus."""
    return text if text.startswith(("−", "-", "unknown")) else f"+{text}"


def cut_short(
    rows: Sequence[tuple[OpenedRow, float]], say: Callable[[float], str]
) -> list[OpenedRow]:
    """The first of (row, amount), and the amounts of the others summed as one row."""
    shown = [row for row, _ in rows[:MOST]]
    if len(rows) > MOST:
        rest = sum(amount for _, amount in rows[MOST:])
        shown.append(OpenedRow(f"{len(rows) - MOST} more", say(rest)))
    return shown
