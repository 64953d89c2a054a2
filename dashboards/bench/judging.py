"""What the answers of a small and a large shop come to, page by page. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Any, Self

RATIO_AT_MOST, RATIO_AIM = 1.5, 1.1
BARE_AT_MOST = 30.0
TEMPORARY_MB_AT_MOST = 16.0
MEMORY_MB_AT_MOST = 128.0
# Two runs of one page differ by about so many bare pages: a larger ratio of less is no finding.
NOISE_BARE = 1.0
MB = 1 << 20


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer of a page. `cost_s` is processor time of web process and database, or wall time
    where the database's cannot be seen; None where no answer came in time."""

    status: int
    cost_s: float | None
    wall_s: float | None = None
    queries: int = 0
    temporary_mb: float = 0.0
    memory_mb: float = 0.0
    said: str = ""
    body: bytes = field(default=b"", repr=False, compare=False)

    @classmethod
    def late(cls) -> Self:
        return cls(0, None, said="no answer in time")

    @classmethod
    def broken(cls, said: str) -> Self:
        return cls(0, None, said=said)

    @classmethod
    def of(cls, status: int, told: dict[str, Any], body: bytes) -> Self:
        if not told:
            return cls(status, None, said="the answer says nothing of what it took", body=body)
        if told["late"]:
            return cls.late()
        database_s = told["database_s"]
        cost_s = told["wall_s"] if database_s is None else told["cpu_s"] + database_s
        return cls(
            status, cost_s, told["wall_s"], told["queries"], told["temporary_bytes"] / MB,
            told["memory_mb"], "", body,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Page:
    """A page as one role opens it, judged: `over` says each thing that is too much. `days` are
    those it reports on in the small shop and in the large one, where it is a report of days: then
    `ratio` is of what a day costs, for twice the days in it is no growth with the shop's age."""

    label: str
    role: str
    small_ms: float | None
    large_ms: float | None
    ratio: float | None
    bare: float | None
    queries: int
    temporary_mb: float
    memory_mb: float
    over: tuple[str, ...]
    days: tuple[int, int] | None = None


def judge(
    label: str, role: str, small: Sequence[Answer], large: Sequence[Answer], bare_s: float,
    days: tuple[int, int] | None = None,
) -> Page:  # fmt: skip
    """`bare_s` is what a bare page of the same processes takes in the same run."""
    more = max(1.0, days[1] / days[0]) if days else 1.0
    over = [*_failed("small", small), *_failed("large", large)]
    small_s, large_s = _middle(small), _middle(large)
    ratio = bare = None
    if small_s is not None and large_s is not None:
        ratio = large_s / (small_s * more)
        if ratio > RATIO_AT_MOST and large_s - small_s * more > NOISE_BARE * bare_s:
            over.append(f"{ratio:.1f} times the small shop's{' a day' if more > 1 else ''}")
    if large_s is not None:
        bare = large_s / bare_s
        if bare > BARE_AT_MOST:
            over.append(f"{bare:.0f} bare pages")
    temporary = max((one.temporary_mb for one in large), default=0.0)
    if temporary > TEMPORARY_MB_AT_MOST:
        over.append(f"{temporary:.0f} MB of temporary files")
    memory = median([one.memory_mb for one in large]) if large else 0.0
    if memory > MEMORY_MB_AT_MOST:
        over.append(f"{memory:.0f} MB of memory")
    return Page(
        label, role, _ms(small_s), _ms(large_s), ratio, bare,
        max((one.queries for one in large), default=0), temporary, memory, tuple(over),
        days if more > 1 else None,
    )  # fmt: skip


def _failed(shop: str, answers: Sequence[Answer]) -> list[str]:
    """What did not come, or came as an error."""
    late = {f"{shop} shop: {one.said}" for one in answers if one.said}
    bad = {
        f"{shop} shop answered {one.status}" for one in answers if one.status not in (0, 200, 204)
    }
    return sorted(late | bad)


def _middle(answers: Sequence[Answer]) -> float | None:
    costs = [one.cost_s for one in answers if one.cost_s is not None]
    return median(costs) if costs else None


def _ms(seconds: float | None) -> float | None:
    return None if seconds is None else seconds * 1000
