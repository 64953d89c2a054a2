"""The demo's tables at work now: each a pseudo-serial port that sends lines while its run is open.

They stand in for a machine and its controller. Start, stop and finish come from the floor
terminal, as they would from a person; the simulated table burns the open run's next contour,
waits while it is stopped, and says nothing but an idle current when there is no run.
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
from shopfloor.demo.operator import press
from shopfloor.models import ArcAssignment, NestPlan, Run, RunState, Stoppage, Table

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
    """The run under way: its plan's arcs in seconds and the contour that comes next."""

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
    finished: object = None  # the run whose every contour is burnt

    def step(self, now: float) -> None:
        if now >= self.look_at:
            self.look_at = now + LOOK_EVERY_S
            self._look(now)
        while self.due and self.due[0][0] <= now:
            at, signal, value = self.due.pop(0)
            self._say(at, signal, value)
            self.idle_at, self.idle_since = now + IDLE_EVERY_S, now
        if not self.due and self.burning:
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
        stopped = Stoppage.objects.filter(table=self.table, ended_at=None).exists()
        if run is None or stopped:
            self._fall_silent(now)
        elif run.pk != self.finished and (self.burning is None or self.burning.run_id != run.pk):
            self._fall_silent(now)
            self.burning = self._take(run)
        if self.burning is None and not stopped:
            press(self.table, idle_s=now - self.idle_since)

    def _take(self, run: Run) -> Burning | None:
        plan = NestPlan.objects.filter(
            revision=run.revision, table=self.table, wear_set=run.revision.nest.wear_set, problem=""
        ).first()
        if plan is None or not plan.arcs_s:
            return None
        done = (
            ArcAssignment.objects.filter(segment__run=run, repeat=False).values("contour_number")
        ).distinct()
        before = ((plan.travel_s or 0) + (plan.touch_off_s or 0)) / len(plan.arcs_s)
        pierce = (plan.pierce_s or 0) / len(plan.arcs_s)
        amps = run.revision.nest.wear_set.current_a
        return Burning(run.pk, plan.arcs_s, before, pierce, amps, next=len(done))

    def _next_arc(self, now: float) -> None:
        burning = self.burning
        if burning is None or burning.next >= len(burning.arcs_s):
            self.finished = burning.run_id if burning else self.finished
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
