"""Ninety days on the floor, simulated shift by shift with a fixed seed, up to the given now."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from random import Random

from shopfloor.demo.cast import SHIFTS
from shopfloor.demo.catalogue import DESIGNS
from shopfloor.demo.drawer import PAIR, Drawer
from shopfloor.demo.rows import Arc, Expected, History, Lot, RunRow, SegmentRow, StopRow
from shopfloor.site.calendar import ShiftSpan

SPEED = {"F50": 1.03, "F80": 1.05, "P120": 0.98}  # actual over planned arc time
CHANGE_S = 720.0
STOPS, STOPS_IN_TROUBLE = 0.05, 0.85  # of the runs
CRASH_S = 2100.0  # until the table cuts again
RUNS_A_CRASH = 240  # of one table
REWORK = 0.04  # of the runs of parts with holes that the drawing asks something of
REASONS = (("crane-busy", 5), ("plate-not-in", 3), ("arc-trouble", 2), ("table-clean", 2), ("", 2))


class Table:
    """One table living through its shifts."""

    def __init__(
        self,
        code: str,
        lots: Sequence[Lot],
        expected: Callable[[str, int], Expected],
        seed: int,
        now: float,
    ) -> None:
        self.code = code
        self.lots = list(lots)
        self.expected = expected
        self.random = Random(f"{seed} {code}")  # noqa: S311 - a demo, not a secret
        self.drawer = Drawer(code, self.random)
        self.history = History()
        self.now = now
        self.t = 0.0
        self.end = 0.0  # of the shift under way
        self.breaks: Sequence[tuple[float, float, str]] = ()
        self.operator = ""
        self.open_run: RunRow | None = None

    def live(self, spans: Sequence[ShiftSpan]) -> History:
        for span in spans:
            shift = next(shift for shift in SHIFTS if shift.name == span.name)
            if self.code not in shift.tables:
                continue
            self.end = span.end.timestamp()
            self.breaks = [(a.timestamp(), b.timestamp(), what) for a, b, what in span.breaks]
            self.operator = shift.operators[shift.tables.index(self.code)]
            self.t = max(self.t, span.start.timestamp() + self.random.uniform(120, 540))
            if self.open_run:
                self._resume(self.open_run)
            self._shift()
            if self.t >= self.now:
                break
        self.history.pieces = self.drawer.pieces
        self.history.shift_ends[self.code] = self.end
        return self.history

    def _shift(self) -> None:
        while self.open_run is None and self.t < min(self.end - 600, self.now) and self.lots:
            lot = self.lots[0]
            wanted = DESIGNS[lot.design].set
            if self.drawer.fitted != wanted:
                self._change_set(wanted)
                if self.t > self.end - 600:
                    return  # what is left of the shift went into the change
            self._begin(lot)
            lot.done += 1
            if lot.done >= lot.sheets:
                self.lots.pop(0)

    def _change_set(self, wanted: str) -> None:
        begun = self.t
        first = not self.drawer.fitted
        self.t += 0 if first else CHANGE_S * self.random.lognormvariate(0, 0.2)
        self.t = min(self.t, max(begun, self.now - 25))
        self.drawer.fit_set(wanted, self.t, self.operator)
        if not first and self.t < self.now:
            self.history.stops.append(
                StopRow(self.code, None, "set-change", begun, self.t, self.operator)
            )

    def _begin(self, lot: Lot) -> None:
        run = RunRow(lot, lot.done + 1, self.t)
        run.forgotten = self._forgets()
        self.history.runs.append(run)
        if self.random.random() < 0.3:
            thickness = DESIGNS[lot.design].thickness_mm
            share = 0.034 if DESIGNS[lot.design].set == "P120" else 0.013
            run.check_u = round((0.1 + share * thickness) * self.random.lognormvariate(0, 0.15), 2)
        run.segments.append(SegmentRow(self.operator, self.t, None, 1, None, ""))
        self.t = min(self.t + 340 * self.random.lognormvariate(0, 0.25), max(self.t, self.now - 15))
        self._burn(run)

    def _forgets(self) -> bool:
        """Nobody pressed start: now and then, and once this morning on South, so that whoever
        opens the demo finds arcs without a job to give away."""
        if self.end > self.now and self.code == "south":
            today = [run for run in self.history.runs if run.opened > self.end - 36_000]
            return not today and self.t < self.now - 3600
        return self.random.random() < 0.006 and self.t < self.now - 7200

    def _resume(self, run: RunRow) -> None:
        """The next shift goes on where the last one stopped."""
        next_contour = run.contours_done + 1
        run.segments.append(SegmentRow(self.operator, self.t, None, next_contour, None, ""))
        self.open_run = None
        self._burn(run)

    def _burn(self, run: RunRow) -> None:
        expected = self.expected(self.code, run.lot.design)
        factor = SPEED[DESIGNS[run.lot.design].set] * self.random.gauss(1.0, 0.02)
        last = len(expected.arcs_s)
        chance = STOPS_IN_TROUBLE if run.lot.trouble else STOPS
        stop_at = self.random.randint(2, last) if self.random.random() < chance else 0
        crash_at = last // 2 if len(self.history.runs) % RUNS_A_CRASH == RUNS_A_CRASH // 2 else 0
        for number in range(run.contours_done + 1, last + 1):
            self._break(run)
            if number == stop_at:
                self._stop(run)
            if self.t > self.end - 240:
                return self._hand_over(run)
            before = expected.before_s[number - 1] * self.random.lognormvariate(0.05, 0.08)
            self._arc(run, before, expected.arcs_s[number - 1] * factor, expected.pierce_s)
            if number == crash_at and self.t < self.now - 2 * CRASH_S:
                self._crash(run)
            if self.t >= self.now:
                run.arcs = [arc for arc in run.arcs if arc.off < self.now]
                self.open_run = run
                return None
            run.contours_done = number
        self.t += 300 * self.random.lognormvariate(0, 0.3)
        self._finish(run)
        return None

    def _arc(self, run: RunRow, before: float, seconds: float, pierce_s: float) -> None:
        self.t += before
        if self.random.random() < 0.012:  # no transfer: a short arc, and the contour again
            run.arcs.append(Arc(self.t, self.t + self.random.uniform(0.4, 1.4), False))
            self.t += self.random.uniform(6, 11)
        failed = self.drawer.start()
        off = self.t + seconds * self.random.lognormvariate(0, 0.015)
        through = min(pierce_s * self.random.lognormvariate(0.04, 0.05), 0.8 * (off - self.t))
        run.arcs.append(Arc(self.t, off, True, through))
        self.t = run.arcs[-1].off
        if failed and self.t < self.now - 1200:
            run.scrap.append((run.contours_done + 1, "wear part failed"))
            begun, self.t = self.t, self.t + 480 * self.random.lognormvariate(0, 0.2)
            cause = "pit" if failed.kind == "electrode" else "out_of_round"
            # Only one has failed; its mate of the pair goes with it and has not.
            why = {kind: ("retired", "") for kind in PAIR if failed.kind in PAIR}
            why[failed.kind] = ("failed", cause)
            self.drawer.replace(why, self.t, self.operator)
            self.history.stops.append(
                StopRow(self.code, run, "arc-trouble", begun, self.t, self.operator)
            )

    def _crash(self, run: RunRow) -> None:
        """A part has tipped up and the torch runs into it: shield and nozzle are gone, and the
        part just cut."""
        run.scrap.append((run.contours_done + 1, "crash"))
        begun, self.t = self.t, self.t + CRASH_S * self.random.lognormvariate(0, 0.2)
        why = dict.fromkeys(("nozzle", "shield"), ("crashed", "crash"))
        self.drawer.replace(why, self.t, self.operator)
        self.history.stops.append(StopRow(self.code, run, "crash", begun, self.t, self.operator))

    def _finish(self, run: RunRow) -> None:
        # The demo opens on tables at work: a run whose last arc is burnt is finished by now, and
        # the next one has just begun.
        self.t = min(self.t, self.now - 40)
        run.closed = self.t
        run.segments[-1].ended, run.segments[-1].reason = self.t, "finish"
        run.segments[-1].last = run.contours_done
        if DESIGNS[run.lot.design].u_range_asked and self.random.random() < REWORK:
            run.rework = self.random.randint(1, 3)
        if self.random.random() < 0.35 and self.drawer.look(self.t, self.operator):
            self.t = min(self.t + 300, self.now - 35)
            why = {"electrode": ("retired", "pit"), "nozzle": ("retired", "")}
            self.drawer.replace(why, self.t, self.operator)
        self.t = min(self.t + 90 * self.random.lognormvariate(0, 0.5), max(self.t, self.now - 30))

    def _hand_over(self, run: RunRow) -> None:
        run.segments[-1].ended, run.segments[-1].reason = self.end, "shift"
        run.segments[-1].last = run.contours_done
        self.t, self.open_run = self.end, run

    def _break(self, run: RunRow) -> None:
        for begun, ended, label in self.breaks:
            if begun <= self.t < ended < self.now:
                self.history.stops.append(
                    StopRow(self.code, run, label, self.t, ended, self.operator)
                )
                self.t = ended + self.random.uniform(20, 120)

    def _stop(self, run: RunRow) -> None:
        names = [name for name, _ in REASONS]
        reason = self.random.choices(names, [weight for _, weight in REASONS])[0]
        begun, seconds = self.t, 900 * math.exp(self.random.gauss(0, 0.45))
        if begun + seconds < self.now - 60:
            self.t += seconds
            self.history.stops.append(
                StopRow(self.code, run, reason, begun + 8, self.t, self.operator)
            )
