"""Promises of jobs in simulated shops, and in the example shop's past: the chance said each morning
of each open job's date, and of the end of each of the next days, against what came."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np

from planning.bench.tomorrow.replay import KEPT, SWEEPS
from planning.bench.tomorrow.simulated import SEED, TYPED
from planning.bench.tomorrow.worlds import World, book_of, simulate
from planning.calc.ahead.book import TableBook, now_at, records_at
from planning.calc.ahead.clock import week_of
from planning.calc.ahead.draws import Ahead, Finishes, Now, Worlds, finishes
from planning.calc.ahead.fit import fit
from planning.calc.ahead.past_list import shift_spans
from planning.calc.ahead.promise import LEVELS, chance, promised
from planning.calc.ahead.scores import brier, chance_of, skill

JOBS_KNOWN: Final = 6  # behind the one that is cut
MOST_SHEETS: Final = 8  # of a job
DUE_SD: Final = 0.3  # of the logarithm of the time promised to a customer
DAYS_AHEAD: Final = 10
AFTER: Final = 40
DRAWS: Final = 600
TENTHS: Final = 10


@dataclass(frozen=True, slots=True)
class Told:
    """One job on one morning: the chance of its date and whether that was kept, the same of the
    ends of the next days, and of the days that could be promised at `LEVELS` whether they were
    (None: not known)."""

    said: float
    done: bool
    by_day: tuple[tuple[float, bool], ...]
    held: tuple[bool | None, ...]


@dataclass(frozen=True, slots=True)
class _Job:
    first: int  # places of its runs in the book
    last: int
    known: float  # epoch s
    due: float


def jobs_of(book: TableBook, seed: int) -> list[_Job]:
    """Runs that follow each other as jobs. A job is known when the one `JOBS_KNOWN` before it is
    begun; its date is guessed then, from the plans of what waits, never from what came."""
    chance = np.random.default_rng(seed)
    cuts, runs = [0], book.runs
    while cuts[-1] < len(runs):
        cuts.append(cuts[-1] + int(chance.integers(1, MOST_SHEETS + 1)))
    bounds = [(first, last) for first, last in pairwise(cuts)
              if last <= len(runs)]  # fmt: skip
    found, ends = [], np.array(shift_spans(book)[1])
    for place, (first, last) in enumerate(bounds):
        begun = bounds[max(place - JOBS_KNOWN, 0)][0]
        known = runs[begun].opened
        around = TYPED.load_s + TYPED.unload_s + TYPED.gap_s
        ahead = sum((run.cut_plan_s or 0.0) + around for run in runs[begun:last])
        ahead *= 1.1 * float(np.exp(DUE_SD * chance.standard_normal()))
        due = float(book.clock.from_now(known).wall(np.array([ahead]))[0])
        later = ends[ends >= due]
        if len(later):  # a date is the end of a shift
            found.append(_Job(first, last, known, float(later[0])))
    return found


def told(book: TableBook, shifts: Iterable[int], seed: int) -> Iterator[Told]:
    """Each open job on the mornings of these shifts."""
    starts, ends = shift_spans(book)
    jobs = jobs_of(book, seed)
    for shift in shifts:
        at = starts[shift] - 60.0
        here = [one for one in jobs if one.known <= at < one.due
                and book.runs[one.last - 1].closed is not None]  # fmt: skip
        found, place = _drawn(book, at, max((one.last for one in here), default=0), seed + shift)
        for job in here:
            column = job.last - 1 - place
            if column >= 0:
                yield _told(found.wall[:, column], book, job, ends[shift : shift + DAYS_AHEAD])


def _drawn(book: TableBook, at: float, last: int, seed: int) -> tuple[Finishes, int]:
    """The list up to a run, and the place of its first in the book."""
    run, under = now_at(book, at)
    place = sum(one.opened <= at for one in book.runs) - (run is not None)
    fitted_set = book.runs[place - 1].wear_set if place else None
    ahead = []
    for one in book.runs[place:last]:
        change = fitted_set is not None and one.wear_set != fitted_set
        ahead.append(Ahead(one.cut_plan_s or 0.0, one.cell, one.nest, change))
        fitted_set = one.wear_set
    state = fit(records_at([book], at, TYPED), seed, sweeps=SWEEPS, kept=KEPT)
    worlds = Worlds.of(state, Now(at, book.day(at), week_of(at), under), seed, DRAWS)
    return finishes(worlds, ahead, book.clock), place


def _told(wall: Any, book: TableBook, job: _Job, days: Sequence[float]) -> Told:
    done = max(off for _on, off, _contour in book.runs[job.last - 1].arcs)
    return Told(
        chance(wall, job.due),
        done <= job.due,
        tuple((chance(wall, end), done <= end) for end in days),
        tuple(done <= promised(wall, level) for level in LEVELS),
    )


def simulated(world: World, *, shops: int, every: int) -> list[Told]:
    found: list[Told] = []
    for number in range(shops):
        longer = replace(world, days=world.days + AFTER)  # so that every job comes to its end
        book = book_of(simulate(longer, SEED + 500 + number))
        shifts = range(world.known_days, world.days, every if world.days > 10 else 1)
        found += told(book, shifts, number)
    return found


def summed(found: Sequence[Told]) -> dict[str, Any]:
    """Brier score, skill and tenths of the dates and of the ends of days; days held by level."""
    by_day = [one for each in found for one in each.by_day]
    held = []
    for place, level in enumerate(LEVELS):
        own = [one.held[place] for one in found if one.held[place] is not None]
        low, high = chance_of(len(own), level) if own else (0, 0)
        kept = sum(bool(each) for each in own)
        held.append({"said": level, "n": len(own), "kept": kept, "low": low, "high": high})
    return {
        "dates": scored([(one.said, one.done) for one in found]),
        "days": scored(by_day),
        "held": held,
    }


def scored(pairs: Sequence[tuple[float, bool]]) -> dict[str, Any]:
    if not pairs:
        return {"n": 0, "tenths": []}
    said, done = [one[0] for one in pairs], [bool(one[1]) for one in pairs]
    tenths = []
    for low in range(TENTHS):
        own = [one for one in pairs if min(int(one[0] * TENTHS), TENTHS - 1) == low]
        if own:
            mean = sum(one[0] for one in own) / len(own)
            share = sum(bool(one[1]) for one in own) / len(own)
            tenths.append({"n": len(own), "said": mean, "done": share})
    return {
        "n": len(pairs), "rate": sum(done) / len(done), "brier": brier(said, done),
        "skill": skill(said, done), "tenths": tenths,
    }  # fmt: skip


def words(worlds: dict[str, dict[str, Any]]) -> list[str]:
    """The tables for people."""
    lines = [
        "",
        f"{'promises of jobs':<26}{'dates':>7}{'kept':>7}{'Brier':>8}{'skill':>8}"
        f"{'days':>8}{'done':>7}{'Brier':>8}{'skill':>8}   days promised at 50 80 90 95",
    ]
    for name, one in worlds.items():
        shares = " ".join(f"{each['kept'] / max(each['n'], 1) * 100:.0f}" for each in one["held"])
        lines.append(f"{name:<26}{_row(one['dates'], 7)}{_row(one['days'], 8)}   {shares}")
    for name, one in worlds.items():
        for kind in ("dates", "days"):
            cells = [
                f"{each['said']:.2f}/{each['done']:.2f} ({each['n']})"
                for each in one[kind]["tenths"]
            ]
            lines.append(f"  {name}, {kind}, said/done (n): " + "  ".join(cells))
    return lines


def _row(one: dict[str, Any], wide: int) -> str:
    if not one["n"]:
        return f"{0:>{wide}}" + f"{'unknown':>23}"
    gained = one["skill"]
    text = "unknown" if gained is None else f"{gained:.2f}"
    return f"{one['n']:>{wide}}{one['rate'] * 100:>7.1f}{one['brier']:>8.3f}{text:>8}"


def missed(name: str, one: dict[str, Any], least: float) -> list[str]:
    """Where the skill of dates or days is not above `least`."""
    return [
        f"{name}: promises of {kind} have a skill of {one[kind]['skill']:.2f}"
        for kind in ("dates", "days")
        if one[kind]["n"] and one[kind]["skill"] is not None and one[kind]["skill"] <= least
    ]
