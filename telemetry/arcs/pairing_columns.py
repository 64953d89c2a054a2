"""Arcs of many plain lines at once: what `Pairer.take_all` says of them, worked out by arrays.

Between two lines that begin or end an arc nothing can but add to it. So each of those lines starts
a stretch, and what is in a stretch belongs to its arc, or to none. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.arcs.pairing import Burning, Pairer
from telemetry.decode.row_blocks import Array, ColumnBlock
from telemetry.events import ARC_OFF, ARC_ON, PIERCE, SAMPLE_A, SAMPLE_V

_MANY = 64  # lines; fewer are quicker one by one


@dataclass(frozen=True, slots=True)
class ManyArcs:
    """Arcs of one torch that ended, an entry an arc, in order of their ends.

    `keys` is (n, 2) big-endian u8. Lost arcs end where they were last seen burning. `pierces` is
    None where the source cannot know them; `first_pierces_us` is -1, `amps` and `volts` are NaN
    where there is none. `programs` are places in `names`.
    """

    torch: str
    keys: Array
    on_us: Array
    off_us: Array
    lost: Array
    pierces: Array | None
    first_pierces_us: Array
    programs: Array
    names: list[str | None]
    amps: Array
    volts: Array

    def __len__(self) -> int:
        return len(self.on_us)


def first_start(lines: ColumnBlock) -> int | None:
    """The place of the first arc_on, from which on `take_many` can go; None where it does not pay
    or the lines are of several torches."""
    if not lines.torch or len(lines) < _MANY:
        return None
    places = np.flatnonzero(lines.kinds == ARC_ON)
    return int(places[0]) if len(places) else None


def take_many(pairer: Pairer, lines: ColumnBlock) -> tuple[ManyArcs, list[int]]:
    """Takes lines of the pairer's torch that begin with an arc_on it was given as its last event.

    Returns the arcs that ended and the places of strays.
    """
    kinds, times_us = lines.kinds, lines.times_us
    bounds = np.flatnonzero((kinds == ARC_ON) | (kinds == ARC_OFF))
    begins = kinds[bounds] == ARC_ON
    of = np.zeros(len(lines), np.int64)  # the stretch each line is in
    of[bounds[1:]] = 1
    of = np.cumsum(of)
    burns = begins[of]
    pierces = np.flatnonzero((kinds == PIERCE) & burns)
    samples = np.flatnonzero((kinds >= SAMPLE_A) & (lines.values > 0) & burns)
    seen_us = times_us[bounds].copy()
    alive = np.sort(np.concatenate((pierces, samples)))
    seen_us[of[alive]] = times_us[alive]  # of several lines of a stretch the last one stays
    first_pierces_us = np.full(len(bounds), -1)
    first_pierces_us[of[pierces[::-1]]] = times_us[pierces[::-1]]
    sums = {kind: _sums(lines, of, samples, kind, len(bounds)) for kind in (SAMPLE_A, SAMPLE_V)}
    counts = np.bincount(of[pierces], minlength=len(bounds))
    names = [pairer.program, *lines.names]
    programs = np.searchsorted(lines.named, bounds)

    ended = np.flatnonzero(begins[:-1])
    is_lost = begins[ended + 1]
    means = [np.full(len(ended), np.nan) for _ in sums]
    for mean, (total, count) in zip(means, sums.values(), strict=True):
        np.divide(total[ended], count[ended], out=mean, where=count[ended] > 0)
    arcs = ManyArcs(
        pairer.torch, lines.keys[bounds[ended]], times_us[bounds[ended]],
        np.where(is_lost, seen_us[ended], times_us[bounds[ended + 1]]), is_lost,
        counts[ended] if pairer.knows_pierces else None, first_pierces_us[ended], programs[ended],
        names, means[0], means[1],
    )  # fmt: skip
    pairer.program, pairer.burning = names[-1], None
    if begins[-1]:
        pairer.burning = still = Burning(
            lines.keys[bounds[-1]].tobytes().hex(), int(times_us[bounds[-1]]), names[programs[-1]]
        )
        still.last_seen_us, still.pierces = int(seen_us[-1]), int(counts[-1])
        still.first_pierce_us = int(first_pierces_us[-1]) if still.pierces else None
        (a_sums, a_counts), (v_sums, v_counts) = sums.values()
        still.a_sum, still.a_n = float(a_sums[-1]), int(a_counts[-1])
        still.v_sum, still.v_n = float(v_sums[-1]), int(v_counts[-1])
    again = bounds[1:][~begins[1:] & ~begins[:-1]]
    strays = np.concatenate((again, np.flatnonzero((kinds == PIERCE) & ~burns)))
    return arcs, sorted(strays.tolist())


def _sums(
    lines: ColumnBlock, of: Array, samples: Array, kind: int, count: int
) -> tuple[Array, Array]:
    """Of the samples of a kind, by stretch: their sum, added up in order, and how many."""
    places = samples[lines.kinds[samples] == kind]
    weights = lines.values[places]
    return (
        np.bincount(of[places], weights=weights, minlength=count),
        np.bincount(of[places], minlength=count),
    )
