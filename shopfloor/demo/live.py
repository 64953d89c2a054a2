"""The demo's tables at work now: each a pseudo-serial port that sends lines while its run is open.

They stand in for a machine and its controller. Start, stop and finish come from the floor
terminal, as they would from a person; the simulated table burns the open run's next contour,
waits while it is stopped, and says nothing but an idle current when there is no run. When the
shift ends and none follows it cuts its contour to the end and no other.
"""

from __future__ import annotations

import os
import pty
import time
import tty
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from shopfloor.demo.lines import stamp
from shopfloor.demo.operator import goes_home, leave, press
from shopfloor.models import ArcAssignment, NestPlan, Run, RunState, Segment, Stoppage, Table

IDLE_EVERY_S = 10.0
LOOK_EVERY_S = 0.5


class Port:
    """The table's end of a pseudo-serial line, found under a stable name. Lines nobody reads are
    dropped, as a UART without flow control would."""

    def __init__(self, path: Path) -> None:
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        path.symlink_to(os.ttyname(self.slave))

    def send(self, text: str) -> None:
        try:
            os.write(self.master, text.encode("ascii"))
        except BlockingIOError:
            return

    def close(self) -> None:
        os.close(self.master)
        os.close(self.slave)


@dataclass
class Burning:
    """The stretch of a run under way: its plan's arcs in seconds and the contour that comes
    next."""

    stretch_id: int
    run_id: object
    arcs_s: list[float]
    before_s: float
    pierce_s: float
    amps: float
    next: int = 0


@dataclass
class SimulatedTable:
    """Steps through one table's life. `step(now)` does what is due by `now` (epoch seconds)."""

    table: Table
    port: Port
    random: Random
    seq: int = 0
    burning: Burning | None = None
    due: list[tuple[float, str, str]] = field(default_factory=list)
    idle_at: float = 0.0
    look_at: float = 0.0
    idle_since: float = field(default_factory=time.time)
    finished: int | None = None  # the stretch that burnt its run's last contour
    over: Run | None = None  # the run whose shift has ended, none being on

    def step(self, now: float) -> None:
        if now >= self.look_at:
            self.look_at = now + LOOK_EVERY_S
            self._look(now)
        while self.due and self.due[0][0] <= now:
            at, signal, value = self.due.pop(0)
            self._say(at, signal, value)
            self.idle_at, self.idle_since = now + IDLE_EVERY_S, now
        if not self.due and self.over is not None:
            leave(self.over, now=now)
            self.over = self.burning = None
        elif not self.due and self.burning:
            self._next_arc(now)
        elif not self.due and now >= self.idle_at:
            self.idle_at = now + IDLE_EVERY_S
            self._say(now, "AMPS", "0.0")

    def _look(self, now: float) -> None:
        """Follows what was pressed at the terminal."""
        run = (
            Run.objects.filter(table=self.table, state=RunState.OPEN)
            .select_related("revision__nest__wear_set")
            .order_by("-opened_at")
            .first()
        )
        self.over = run if run is not None and goes_home(run, now=now) else None
        stopped = Stoppage.objects.filter(table=self.table, ended_at=None).exists()
        if run is None or stopped:
            self._fall_silent(now)
        elif self.over is None:
            self._follow(run, now)
        if self.burning is None and not stopped:
            press(self.table, idle_s=now - self.idle_since, now=now)

    def _follow(self, run: Run, now: float) -> None:
        """The newest stretch of the run: one started, taken up, or begun again at a contour."""
        stretch = run.segments.filter(end_reason="").order_by("-started_at", "-pk").first()
        if stretch is None or stretch.pk == self.finished:
            return
        if self.burning is None or self.burning.stretch_id != stretch.pk:
            self._fall_silent(now)
            self.burning = self._take(run, stretch)

    def _take(self, run: Run, stretch: Segment) -> Burning | None:
        plan = NestPlan.objects.filter(
            revision=run.revision, table=self.table, wear_set=run.revision.nest.wear_set, problem=""
        ).first()
        if plan is None or not plan.arcs_s:
            return None
        burnt = ArcAssignment.objects.filter(segment=stretch, repeat=False)
        done = burnt.values("contour_number").distinct().count()
        before = ((plan.travel_s or 0) + (plan.touch_off_s or 0)) / len(plan.arcs_s)
        pierce = (plan.pierce_s or 0) / len(plan.arcs_s)
        amps = run.revision.nest.wear_set.current_a
        first = stretch.first_contour - 1
        return Burning(stretch.pk, run.pk, plan.arcs_s, before, pierce, amps, next=first + done)

    def _next_arc(self, now: float) -> None:
        burning = self.burning
        if burning is None or burning.next >= len(burning.arcs_s):
            self.finished = burning.stretch_id if burning else self.finished
            self.burning = None
            return
        seconds = burning.arcs_s[burning.next] * self.random.lognormvariate(0.01, 0.02)
        on = now + burning.before_s * self.random.lognormvariate(0.05, 0.1)
        burning.next += 1
        self.due = [
            (on, "ARC ON", ""),
            (on + 0.5 * burning.pierce_s, "AMPS", f"{burning.amps:.1f}"),
            (on + min(burning.pierce_s, 0.8 * seconds), "PIERCE", ""),
            (on + seconds, "ARC OFF", ""),
        ]

    def _fall_silent(self, now: float) -> None:
        """Somebody pressed stop: an arc that burns ends now."""
        burnt = any(signal == "ARC ON" for _at, signal, _value in self.due)
        self.due = [] if burnt or not self.due else [(now, "ARC OFF", "")]
        self.burning = None

    def _say(self, at: float, signal: str, value: str) -> None:
        self.seq += 1
        self.port.send(f"{self.seq},{stamp(at)},{signal},{value}\r\n")


def run_tables(tables: list[SimulatedTable]) -> Iterator[None]:
    """Yields after every step, so that the caller decides when to stop."""
    while True:
        now = time.time()
        for table in tables:
            table.step(now)
        yield
        time.sleep(0.05)
