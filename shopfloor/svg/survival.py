"""How many pieces in 100 still burn, by their starts: counted, with its range, and fitted. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from planning.calc.numbers import filled, written
from planning.calc.translated import gettext as _
from planning.calc.translated import ngettext
from shopfloor.svg.plot import Plot, step_of
from shopfloor.svg.strip import Svg


@dataclass(frozen=True, slots=True)
class Still:
    """Shares (0 to 1) that reach an age in starts: `steps` as counted (age, share, low, high),
    `curve` as fitted (the same). `out`: ages of pieces that came out or are in use and have not
    ended; `now`: the age of the piece in the torch. `ends` of `pieces` ended."""

    steps: Sequence[tuple[float, float, float, float]]
    curve: Sequence[tuple[float, float, float, float]]
    out: Sequence[float]
    pieces: int
    ends: int
    now: float | None = None


def survival_figure(told: Still, width: int, height: int = 300) -> Svg:
    ages = [row[0] for row in (*told.steps, *told.curve[-1:])]
    last = max([*ages, *told.out, told.now or 0, 50]) * 1.02
    plot = Plot(width, height, 0, last, 100)
    step = step_of(last, 5)
    feet = [(float(at), written(at)) for at in range(0, int(last) + 1, step)]
    counted = [(0.0, 100.0), *((age, share * 100) for age, share, _low, _high in told.steps)]
    reach = max([counted[-1][0], *told.out])
    counted.append((reach, counted[-1][1]))
    parts = [
        plot.heights([(float(at), written(at)) for at in (0, 25, 50, 75, 100)]),
        plot.band(_of(told.curve, 2), _of(told.curve, 3)),
        *_whiskers(plot, told),
        plot.line(_of(told.curve, 1), "forecast"),
        plot.steps(counted, "pace"),
        *(_tick(plot, age, _at(counted, age)) for age in told.out),
        plot.feet(feet, _("starts")),
        *_now(plot, told),
    ]
    return plot.svg(parts, "still", sentence(told))


def _of(rows: Sequence[tuple[float, float, float, float]], which: int) -> list[tuple[float, float]]:
    return [(row[0], row[which] * 100) for row in rows]


def _at(steps: Sequence[tuple[float, float]], age: float) -> float:
    """The height of the counted steps at an age."""
    return next(share for at, share in reversed(steps) if at <= age)


def _whiskers(plot: Plot, told: Still) -> list[str]:
    """The range of what was counted, at each step."""
    return [
        f'<path class="whisker" d="M{plot.x(age):.1f} {plot.y(low * 100):.1f}'
        f'V{plot.y(high * 100):.1f}"/>'
        for age, _share, low, high in told.steps
        if high > low
    ]


def _tick(plot: Plot, age: float, share: float) -> str:
    return f'<path class="end" d="M{plot.x(age):.1f} {plot.y(share) - 4:.1f}v8"/>'


def _now(plot: Plot, told: Still) -> list[str]:
    """The age of the piece in the torch, and how many like it still burn."""
    if told.now is None:
        return []
    x = plot.x(told.now)
    anchor = "end" if x > (plot.left + plot.end) / 2 else "start"
    words = filled(_("now {starts:,}"), starts=round(told.now))
    if (share := fitted_at(told, told.now)) is not None:
        words = filled(
            _("now {starts:,}: {share:.0f} in 100"), starts=round(told.now), share=share * 100
        )
    shift = -6 if anchor == "end" else 6
    return [
        f'<path class="now" d="M{x:.1f} {plot.above}V{plot.base:.1f}"/>',
        plot.words(x + shift, plot.above + 12, words, "told", anchor),
    ]


def fitted_at(told: Still, age: float) -> float | None:
    """The fitted share at an age, evenly between what is given; None beyond it."""
    for before, after in zip(told.curve, told.curve[1:], strict=False):
        if before[0] <= age <= after[0]:
            part = (age - before[0]) / ((after[0] - before[0]) or 1.0)
            return before[1] + part * (after[1] - before[1])
    return None


def sentence(told: Still) -> str:
    """The drawing in words."""
    words = [
        ngettext("{n} piece, {ends} ended.", "{n} pieces, {ends} ended.", told.pieces).format(
            n=told.pieces, ends=told.ends
        )
    ]
    for share in (0.75, 0.5, 0.25):
        age = next((row[0] for row in told.curve if row[1] <= share), None)
        if age is not None:
            words.append(
                filled(
                    _("{share:.0f} in 100 reach {starts:,} starts."),
                    share=share * 100, starts=round(age),
                )
            )  # fmt: skip
    if told.now is not None and (left := fitted_at(told, told.now)) is not None:
        words.append(
            filled(
                _("Now {starts:,} starts, which {share:.0f} in 100 reach."),
                starts=round(told.now), share=left * 100,
            )
        )  # fmt: skip
    return " ".join(words)
