"""`bench board`: every page and callback, for every role, as served in a shop of ten tables and six
weeks and in the same shop after thirteen months and more.

The two are asked in turns, so that a busy machine slows both alike; a bare page of the same
processes is the measure. What takes longer than `TIMEOUT_S` is over, and the run goes on.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from dataclasses import asdict
from statistics import median
from typing import Any, Protocol

from dashboards.bench import judging
from dashboards.bench.addresses import unseen
from dashboards.bench.judging import Answer, Page, judge
from dashboards.bench.shops import Shop, made
from dashboards.bench.visiting import Served
from planning.bench.bigshop.size import Size

SMALL = Size(pairs=5, blocks=1, days=42)
LARGE = Size(pairs=5, blocks=10, days=42)
TIMEOUT_S = 20.0
BARE_TIMES = 5
WORST = 10
Key = tuple[str, str]  # label, role
Both = tuple[list[Answer], list[Answer]]


class Asked(Protocol):
    """A shop whose pages can be asked for."""

    database: str

    def bare(self, role: str) -> Answer: ...
    def keep(self) -> None: ...
    def visit(self, label: str, role: str) -> list[Answer]: ...
    def days(self, label: str) -> int | None: ...


def run(*, quick: bool) -> dict[str, Any]:
    """Three turns of every role; `quick`: one turn, and the owner only."""
    shops = made({"six-weeks": SMALL, "thirteen-months": LARGE}, say=_say)
    return measure(shops["six-weeks"], shops["thirteen-months"], turns=1 if quick else 3,
                   roles=("owner",) if quick else None)  # fmt: skip


def measure(
    small: Shop, large: Shop, *, turns: int, roles: tuple[str, ...] | None = None,
    timeout_s: float = TIMEOUT_S,
) -> dict[str, Any]:  # fmt: skip
    with ExitStack() as stack:
        pair = tuple(stack.enter_context(Served(shop, timeout_s)) for shop in (small, large))
        keys = [
            (label, role)
            for label in pair[1].addresses
            for role in roles or tuple(pair[1].people)
            if label in pair[0].addresses
        ]
        return found(pair, keys, turns=turns)


def found(pair: Sequence[Asked], keys: Sequence[Key], *, turns: int) -> dict[str, Any]:
    """The small shop and the large one, asked for these pages by these roles."""
    answers, bare = _visited(pair, keys, turns)
    bare_s = median(bare)
    pages = [
        judge(label, role, *answers[label, role], bare_s, _days(pair, label))
        for label, role in keys
        if any(answers[label, role])
    ]
    return _answer(pages, bare_s, pair[1].database)


def _days(pair: Sequence[Asked], label: str) -> tuple[int, int] | None:
    """Of how many days a page tells in either shop; None where it is no report of days."""
    small, large = (served.days(label) for served in pair)
    return (small, large) if small and large else None


def _visited(
    pair: Sequence[Asked], keys: Sequence[Key], turns: int
) -> tuple[dict[Key, Both], list[float]]:
    """Answers of both shops to each page, and what bare pages took among them. The first turn
    only warms up, and finds what a role may not open and what does not come in time: those are not
    asked again."""
    answers: dict[Key, Both] = defaultdict(lambda: ([], []))
    bare: list[float] = []
    left = dict.fromkeys(keys)
    for turn in range(turns + 1):
        _say(f"turn {turn} of {turns}, {len(left)} pages" if turn else f"warming {len(left)} pages")
        for served in pair:
            served.keep()
            served.bare("owner")
            taken = [served.bare("owner").cost_s for _ in range(BARE_TIMES)]
            bare += [cost_s for cost_s in taken if cost_s is not None]
        for label, role in list(left):
            came = [served.visit(label, role) for served in pair]
            if not _may(came):
                del left[label, role]
                continue
            late = any(one.cost_s is None for some in came for one in some)
            if late:
                del left[label, role]
            if turn or late:
                for kept, some in zip(answers[label, role], came, strict=True):
                    kept += [_whole(some)]
    return answers, bare


def _may(came: Iterable[list[Answer]]) -> bool:
    """Whether the role may open the page at all: what is refused or leads elsewhere is no page."""
    statuses = [one.status for some in came for one in some]
    return bool(statuses) and not all(status in (301, 302, 401, 403, 405) for status in statuses)


def _whole(some: list[Answer]) -> Answer:
    """All callbacks of a page as one answer."""
    if len(some) == 1:
        return some[0]
    costs = [one.cost_s for one in some]
    known = [cost for cost in costs if cost is not None]
    return Answer(
        max(one.status for one in some), sum(known) if len(known) == len(costs) else None,
        sum(one.wall_s or 0.0 for one in some), sum(one.queries for one in some),
        sum(one.temporary_mb for one in some), max(one.memory_mb for one in some),
        "; ".join(one.said for one in some if one.said),
    )  # fmt: skip


def _answer(pages: list[Page], bare_s: float, database: str) -> dict[str, Any]:
    over = [page for page in pages if page.over]
    ratios = [page.ratio for page in pages if page.ratio is not None]
    return {
        "database": database,
        "bare_ms": bare_s * 1000,
        "pages": [asdict(page) for page in sorted(pages, key=_worst, reverse=True)],
        "measured": len(pages),
        "over": len(over),
        "median_ratio": median(ratios) if ratios else None,
        "within_aim": sum(ratio <= judging.RATIO_AIM for ratio in ratios),
        "unseen": unseen(),
        "met": not over and not unseen(),
    }


def _worst(page: Page) -> tuple[bool, float]:
    return bool(page.over), page.bare if page.bare is not None else float("inf")


def table(answer: dict[str, Any]) -> list[str]:
    """What is over, then the dearest of the rest, and the sum of it."""
    lines = [
        f"{answer['measured']} pages by role on {answer['database']}; a bare page takes "
        f"{answer['bare_ms']:.2f} ms",
        f"{'page':<44}{'role':<15}{'small':>9}{'large':>9}{'ratio':>7}{'bare':>7}"
        f"{'queries':>9}{'temp MB':>9}{'mem MB':>8}",
    ]
    for page in answer["pages"][: answer["over"] + WORST]:
        lines.append(
            f"{page['label']:<44}{page['role']:<15}{_n(page['small_ms'])}{_n(page['large_ms'])}"
            f"{_n(page['ratio'], 7, 2)}{_n(page['bare'], 7, 0)}{page['queries']:>9}"
            f"{page['temporary_mb']:>9.1f}{page['memory_mb']:>8.1f}"
            + (f"  of {page['days'][1]} days against {page['days'][0]}" if page["days"] else "")
            + (f"  over: {'; '.join(page['over'])}" if page["over"] else "")
        )
    if by_day := sum(bool(page["days"]) for page in answer["pages"]):
        lines.append(f"{by_day} report on more days in the older shop: their ratio is a day's")
    lines += [f"nobody opens: {name}" for name in answer["unseen"]]
    ratio = answer["median_ratio"]
    lines.append(
        f"{answer['over']} over; median ratio {'unknown' if ratio is None else f'{ratio:.2f}'}, "
        f"{answer['within_aim']} within {judging.RATIO_AIM}"
    )
    return lines


def _n(value: float | None, width: int = 9, digits: int = 1) -> str:
    return f"{'unknown' if value is None else f'{value:.{digits}f}':>{width}}"


def _say(text: str) -> None:
    sys.stderr.write(f"{text}\n")
