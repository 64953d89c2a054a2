"""Quotes in simulated shops: the overruns promised against those that came.

A job is quoted from what was on record at the end of a shift, and cut in the same shop, at once or
a fortnight later, sheet by sheet, by the truth the shop was made with."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from planning.bench.tomorrow.replay import KEPT, SWEEPS
from planning.bench.tomorrow.simulated import SEED, TYPED
from planning.bench.tomorrow.worlds import WORLDS, TrueShop, World, book_of, drawn_length, simulate
from planning.calc.ahead.book import records_at
from planning.calc.ahead.clock import week_of
from planning.calc.ahead.fit import Fit, fit
from planning.calc.ahead.past_list import shift_spans
from planning.calc.ahead.quotes import DAY_S, LineAhead, quote_draws
from planning.calc.ahead.scores import chance_of, pit

SIZES: Final = ((1, 1), (1, 8), (10, 4), (10, 10))  # lines, sheets of each
CHANCES: Final = (0.02, 0.05, 0.1, 0.2, 0.3, 0.5)
LEADS: Final = (0, 2)  # weeks from the quote to the first sheet
WEEK: Final = 5  # shifts
# Quotes of one shop are right or wrong together: the limits of chance are of as many shops.
EACH: Final = 1  # jobs of each size quoted at one moment
DRAWS: Final = 500
OUTSIDE: Final = 0.05  # so often chance alone leaves the limits


@dataclass(frozen=True, slots=True)
class Quoted:
    """One quote: the weeks until its work began, its size, and the share of its draws below what
    the job took."""

    lead: int
    lines: int
    sheets: int
    pit: float


def quoted(world: World, *, shops: int, moments: int) -> Iterator[Quoted]:
    """Quotes of every size at so many moments of each of so many shops of a kind."""
    for number in range(shops):
        shop = simulate(world, SEED + number)
        book = book_of(shop)
        ends = shift_spans(book)[1]
        first, last = world.known_days, world.days - 1
        for day in np.linspace(first, last, moments).astype(int):
            at = ends[day - 1]
            fitted = fit(records_at([book], at, TYPED), number + day, sweeps=SWEEPS, kept=KEPT)
            chance = np.random.default_rng((SEED, number, int(day)))
            for size in SIZES * EACH:
                yield from _one(shop, fitted, size, int(day), week_of(at), chance)


def _one(
    shop: TrueShop,
    fitted: Fit,
    size: tuple[int, int],
    day: int,
    week: int,
    chance: np.random.Generator,
) -> Iterator[Quoted]:
    asked = []
    for _ in range(size[0]):
        nest = int(chance.integers(shop.world.nests))
        plan_s = shop.truth.nest(shop.world, nest, chance)[1]
        asked.append(LineAhead(0, (nest % 12,), nest, plan_s, size[1], minor_per_s=1.0))
    seed = int(chance.integers(2**31))
    for lead in LEADS:
        drawn = quote_draws(
            {0: fitted}, asked, week=week, seed=seed, draws=DRAWS, weeks_on=lead
        )  # fmt: skip
        truth = took_s(shop, asked, day + lead * WEEK, chance)
        yield Quoted(lead, *size, pit(drawn.whole, truth))


def took_s(
    shop: TrueShop, lines: Iterable[LineAhead], day: int, chance: np.random.Generator
) -> float:
    """Seconds at the table of a job that was begun on a day and cut without other work between."""
    world, passed, whole = shop.world, 0.0, 0.0
    for line in lines:
        for _ in range(line.sheets):
            on = day + int(passed // DAY_S)
            hand = shop.truth.hand(on)
            sheet = drawn_length(chance, world.load_s, 0.4) * hand
            sheet += drawn_length(chance, world.unload_s, 0.45) * hand
            cut = shop.truth.cut_s(world, int(str(line.nest)), on, chance)
            sheet += cut + _stopped_s(world, cut, chance)
            passed += sheet + drawn_length(chance, world.gap_s, 0.7) * hand
            whole += sheet
    return whole


def _stopped_s(world: World, cut_s: float, chance: np.random.Generator) -> float:
    usual = int(chance.poisson(world.stops_per_h * cut_s / 3600))
    broken = int(chance.poisson(world.breakdown_per_h * cut_s / 3600))
    lengths = [drawn_length(chance, world.stop_s, world.stop_sd) for _ in range(usual)]
    lengths += [2400 * float(1 + chance.pareto(1.6)) for _ in range(broken)]
    return sum(lengths)


def tabled(quotes: Iterable[Quoted]) -> list[dict[str, Any]]:
    """By lead and size: how many took more than was said, at each chance, with binomial limits."""
    by_size: dict[tuple[int, int, int], list[float]] = defaultdict(list)
    for one in quotes:
        by_size[one.lead, one.lines, one.sheets].append(one.pit)
    found = []
    for (lead, lines, sheets), pits in sorted(by_size.items()):
        chances = []
        for chance in CHANCES:
            low, high = chance_of(len(pits), chance, OUTSIDE)
            seen = sum(one > 1 - chance for one in pits)
            chances.append({"promised": chance, "seen": seen, "low": low, "high": high})
        size = {"lead": lead, "lines": lines, "sheets": sheets, "n": len(pits)}
        found.append({**size, "chances": chances})
    return found


def answered(*, shops: int, moments: int) -> list[dict[str, Any]]:
    """All kinds of shops together."""
    found: list[Quoted] = []
    for world in WORLDS:
        found += quoted(world, shops=shops, moments=moments)
    return tabled(found)


def words(sizes: Iterable[dict[str, Any]]) -> list[str]:
    """The table for people: promised, and of each size what was seen (limits of chance)."""
    lines = ["", "quotes that took more than said, in 100 (limits of chance)"]
    for size in sizes:
        n = size["n"]
        cells = [
            f"{one['promised'] * 100:.0f}: {one['seen'] / n * 100:.1f}"
            f" ({one['low'] / n * 100:.1f}-{one['high'] / n * 100:.1f})"
            for one in size["chances"]
        ]
        lines.append(f"  {_name(size)}, n {n}:  " + "  ".join(cells))
    return lines


def _name(size: dict[str, Any]) -> str:
    return f"{size['lines']} x {size['sheets']}, {size['lead']} weeks ahead"


def outside(sizes: Iterable[dict[str, Any]]) -> list[str]:
    """Which promises were not kept, as `quotes of 10 x 4, ...`."""
    return [
        f"quotes of {_name(size)}: {one['seen'] / size['n']:.1%} took more,"
        f" {one['promised']:.0%} promised"
        for size in sizes
        for one in size["chances"]
        if not one["low"] <= one["seen"] <= one["high"]
    ]
