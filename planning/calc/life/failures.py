"""Failures that were expected, week by week, of every piece that burnt: each week by what was known
when it began, so that no week's failures speak for themselves."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from planning.calc.life.air import Excess, excess, usual
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Life
from planning.calc.life.weibull import LEAST_ENDS

WEEK_US = 7 * 86_400_000_000
WINDOWS = (2, 4)  # weeks looked back over
WEEKS_A_YEAR = 365.25 / 7


@dataclass(frozen=True, slots=True)
class Dated:
    """A piece that was in a torch lately: its starts now, those it had when first seen, when it was
    first fitted, when it came to its own end (None: not), and its starts lately as (us, starts)."""

    piece: int
    age: float
    entered: float
    since_us: int
    ended_us: int | None
    uses: tuple[tuple[int, float], ...] = ()

    def age_at(self, at_us: int) -> float:
        """Starts it had then."""
        later = sum(starts for used_us, starts in self.uses if used_us >= at_us)
        return max(self.entered, self.age - later)

    def life_at(self, at_us: int) -> Life:
        """What was known of it then."""
        ended = self.ended_us is not None and self.ended_us < at_us
        return Life(self.age_at(at_us), ended, self.entered)


@dataclass(frozen=True, slots=True)
class PartAtRisk:
    """One part of one set: its pieces that burnt lately, those it is learned from beside them, and
    pieces alike in other sets, which are learned from too."""

    part: int
    group: int  # its set
    rated: int | None
    pieces: tuple[Dated, ...]
    before: tuple[Life, ...] = ()
    alike: tuple[Dated, ...] = ()

    def lives_at(self, at_us: int) -> list[Life]:
        known = [one for one in (*self.pieces, *self.alike) if one.since_us < at_us]
        return [*self.before, *(one.life_at(at_us) for one in known)]


@dataclass(frozen=True, slots=True)
class Expected:
    """Failures of one part in one week: their mean, and how sure that is (a standard deviation).
    None while fewer than 3 pieces of it have ended."""

    mean: float | None
    sd: float = 0.0


def expected(part: PartAtRisk, edges_us: Sequence[int]) -> list[Expected]:
    """For each week between two edges, oldest first."""
    found = []
    for start_us, end_us in itertools.pairwise(edges_us):
        spans = [(one.age_at(start_us), one.age_at(end_us)) for one in part.pieces]
        burnt = [(first, last) for first, last in spans if last > first]
        found.append(_of_week(part, start_us, burnt))
    return found


def _of_week(part: PartAtRisk, at_us: int, burnt: Sequence[tuple[float, float]]) -> Expected:
    known = part.lives_at(at_us)
    if sum(life.ended for life in known) < LEAST_ENDS:
        return Expected(None)  # a rated life alone is no expectation to hold anybody to
    if not burnt:
        return Expected(0.0)
    lives = Posterior.of(known, part.rated)
    ages = np.array(burnt)[:, :, None]
    hazard = (ages / lives.scale) ** lives.shape
    each = (hazard[:, 1] - hazard[:, 0]).sum(axis=0)  # by cell of the cloud
    mean = float((lives.weight * each).sum())
    spread = float((lives.weight * (each - mean) ** 2).sum())
    return Expected(mean, math.sqrt(spread))


@dataclass(frozen=True, slots=True)
class Look:
    """One set, or all (`group` None), over the last weeks."""

    group: int | None
    weeks: int
    excess: Excess


def looks(
    by_part: Mapping[tuple[int, int], Sequence[Expected]],
    seen: Sequence[tuple[int, int]],
    *,
    weeks: Sequence[int] = WINDOWS,
) -> list[Look]:
    """`by_part`: by (set, part), the weeks' failures expected, oldest first. `seen`: of each
    failure its set and how many weeks ago it was (0: in the last one). All first, then each set, if
    there are several. Weeks of one part are wrong together, parts each by itself."""
    groups = sorted({group for (group, _part), own in by_part.items() if any(_told(own))})
    wanted: list[int | None] = [None, *(groups if len(groups) > 1 else ())]
    found = []
    for group in wanted:
        for back in weeks:
            own = [
                [week for week in expected[-back:] if week.mean is not None]
                for (of, _part), expected in by_part.items()
                if group in (None, of)
            ]
            mean = sum(week.mean or 0.0 for part in own for week in part)
            variance = sum(sum(week.sd for week in part) ** 2 for part in own)
            count = sum(1 for of, ago in seen if ago < back and group in (None, of))
            told = excess(
                count, mean, variance,
                windows=WEEKS_A_YEAR / back, looks=len(wanted) * len(weeks),
            )  # fmt: skip
            found.append(Look(group, back, told))
    return found


def _told(weeks: Sequence[Expected]) -> list[float]:
    return [week.mean for week in weeks if week.mean]


def counted_up(
    by_part: Mapping[tuple[int, int], Sequence[Expected]], level: float
) -> list[tuple[float, int, int] | None]:
    """Failures expected up to the end of each week, and between how many that share of chance lies;
    None before the first week in which anything is known."""
    weeks = max((len(own) for own in by_part.values()), default=0)
    found: list[tuple[float, int, int] | None] = []
    for end in range(1, weeks + 1):
        own = [[week for week in part[:end] if week.mean is not None] for part in by_part.values()]
        mean = sum(week.mean or 0.0 for part in own for week in part)
        variance = sum(sum(week.sd for week in part) ** 2 for part in own)
        found.append((mean, *usual(mean, variance, level)) if mean else None)
    return found
