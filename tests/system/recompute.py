"""A month of a shop worked out a second time, from the lines its tables sent and the rows people
entered. Nothing of ours is imported: lines are read as CSV, rows by plain SQL of an SQLite file.

Instants and durations are integer microseconds, money is integer minor units.
"""

from __future__ import annotations

import csv
import json
import sqlite3
from bisect import bisect_right
from collections import defaultdict
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
HOUR_US = 3_600_000_000
EFFICIENCY = 0.9  # of the power drawn, this much reaches the arc


class Arc(NamedTuple):
    table: str
    on: int
    off: int
    pierces: int
    amps: float | None


def us(text: str | None) -> int | None:
    if text is None:
        return None
    at = datetime.fromisoformat(text.replace("Z", "+00:00"))
    return ((at if at.tzinfo else at.replace(tzinfo=UTC)) - EPOCH) // timedelta(microseconds=1)


def half_up(amount: Fraction) -> int:
    sign = -1 if amount < 0 else 1
    return sign * int(abs(amount) + Fraction(1, 2))


def arcs_of(table: str, path: Path) -> list[Arc]:
    """Arcs by their lines in the order of time: `seq,time,signal,value`."""
    found, on, pierces, amps = [], None, 0, []
    with path.open(encoding="ascii", newline="") as lines:
        rows = sorted((us(row[1]), int(row[0]), row[2], row[3]) for row in csv.reader(lines))
    for at, _, signal, value in rows:
        if signal == "ARC ON":
            assert on is None, f"{table}: two starts and no end at {at}"
            on, pierces, amps = at, 0, []
        elif signal == "PIERCE":
            pierces += 1
        elif signal == "AMPS" and float(value) > 0:
            amps.append(float(value))
        elif signal == "ARC OFF" and on is not None:
            found.append(Arc(table, on, at, pierces, sum(amps) / len(amps) if amps else None))
            on = None
    return found


def merged(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    out: list[list[int]] = []
    for start, end in sorted(span for span in spans if span[0] < span[1]):
        if out and start <= out[-1][1]:
            out[-1][1] = max(out[-1][1], end)
        else:
            out.append([start, end])
    return [(start, end) for start, end in out]


def shared(total: int, weights: list[Fraction]) -> list[int]:
    """Whole units in proportion; what is left over goes to the largest remainders."""
    if not any(weights):
        weights = [Fraction(1)] * len(weights)
    ideal = [total * weight / sum(weights) for weight in weights]
    out = [int(value) for value in ideal]
    for place in sorted(range(len(ideal)), key=lambda n: (out[n] - ideal[n], n))[
        : total - sum(out)
    ]:
        out[place] += 1
    return out


class Shop:
    """Everything of one database and its tables' lines. `arcs` are in order, `run_of` is the run
    each belongs to (None: to none)."""

    def __init__(self, database: Path, lines: dict[str, Path]) -> None:
        self._db = sqlite3.connect(database)
        self._db.row_factory = sqlite3.Row
        shop = self.rows("SELECT * FROM shopfloor_shop")[0]
        self.zone = ZoneInfo(shop["zone"])
        self.factor, self.least_mm2 = shop["remnant_factor"], shop["remnant_min_mm2"]
        self.shifts = self._shifts(lines)
        self.segments = self._segments()
        self.runs = {row["id"]: row for row in self.rows(
            "SELECT r.*, t.code FROM shopfloor_run r JOIN shopfloor_table t ON t.id = r.table_id "
            "ORDER BY r.opened_at, r.id")}  # fmt: skip
        self.arcs = [arc for table, path in lines.items() for arc in arcs_of(table, path)]
        self.segment_of = {(arc.table, arc.on): self._segment_at(arc) for arc in self.arcs}
        self.arcs_of_run: dict[str, list[tuple[Arc, Any]]] = defaultdict(list)
        for arc in self.arcs:
            if (segment := self.segment_of[arc.table, arc.on]) is not None:
                self.arcs_of_run[segment["run_id"]].append((arc, segment))

    def rows(self, sql: str) -> list[sqlite3.Row]:
        return self._db.execute(sql).fetchall()

    def _shifts(self, lines: dict[str, Path]) -> list[tuple[int, int, date]]:
        """From, to and date of every shift of a year on either side of the first run."""
        first = self.rows("SELECT min(opened_at) m FROM shopfloor_run")[0]["m"]
        around = date.fromisoformat(first[:10])
        found = set()
        for row in self.rows("SELECT * FROM shopfloor_shift"):
            start, end = time.fromisoformat(row["start"]), time.fromisoformat(row["end"])
            for n in range(-366, 367):
                day = around + timedelta(days=n)
                if str(day.isoweekday()) not in row["weekdays"] or str(day) < row["valid_from"]:
                    continue
                if row["valid_to"] and str(day) > row["valid_to"]:
                    continue
                until = day + timedelta(days=end <= start)
                found.add((self._instant(day, start), self._instant(until, end), day))
        return sorted(found)

    def _instant(self, day: date, at: time) -> int:
        return (datetime.combine(day, at, self.zone).astimezone(UTC) - EPOCH) // timedelta(
            microseconds=1
        )

    def day_of(self, at: int) -> date:
        """The date of the shift an instant falls in, else its own on the shop's clock."""
        place = bisect_right(self.shifts, (at, 1 << 62, date.max))
        inside = [day for start, end, day in self.shifts[max(0, place - 4) : place] if at < end]
        return (
            inside[0]
            if inside
            else (EPOCH + timedelta(microseconds=at)).astimezone(self.zone).date()
        )

    def _segments(self) -> dict[str, list[dict[str, Any]]]:
        """By table, in the order they were opened."""
        found = defaultdict(list)
        for row in self.rows(
            "SELECT s.*, t.code, w.duty, w.current_a FROM shopfloor_segment s "
            "JOIN shopfloor_torch o ON o.id = s.torch_id JOIN shopfloor_table t ON t.id = "
            "o.table_id JOIN shopfloor_wearset w ON w.id = s.wear_set_id "
            "ORDER BY s.started_at, s.id"
        ):
            own = dict(row) | {"from": us(row["started_at"]), "to": us(row["ended_at"])}
            found[row["code"]].append(own)
        return found

    def _segment_at(self, arc: Arc) -> dict[str, Any] | None:
        """The stretch opened last before the arc began, if nobody had ended it."""
        own = self.segments[arc.table]
        place = bisect_right([segment["from"] for segment in own], arc.on)
        if not place:
            return None
        last = own[place - 1]
        over = last["to"] is not None and arc.on >= last["to"] and not last["end_assumed"]
        return None if over else last

    # Sums of the month

    def seconds_by_day_and_duty(self) -> dict[tuple[date, str, str], int]:
        """Burning microseconds by day, table and what the set is for; "unassigned" without run.
        With what somebody entered for a time that no line ever came of, by the set of the stretch
        before; such a time lies within one shift here."""
        found: dict[tuple[date, str, str], int] = defaultdict(int)
        for told in self.rows(
            "SELECT e.*, t.code FROM shopfloor_enteredcount e JOIN shopfloor_torch o ON o.id = "
            "e.torch_id JOIN shopfloor_table t ON t.id = o.table_id WHERE e.replaced_at IS NULL"
        ):
            start, end = us(told["started_at"]) or 0, us(told["ended_at"]) or 0
            if self.day_of(start) != self.day_of(end - 1):
                raise ValueError("an entered count over a shift's border is not reckoned here")
            before = [s for s in self.segments[told["code"]] if s["from"] <= start]
            duty = before[-1]["duty"] if before else "unassigned"
            found[self.day_of(start), told["code"], duty] += round(told["arc_s"] * 1e6)
        for arc in self.arcs:
            segment = self.segment_of[arc.table, arc.on]
            duty = segment["duty"] if segment else "unassigned"
            found[self.day_of(arc.on), arc.table, duty] += arc.off - arc.on
        return dict(found)

    def windows(self, run: str) -> list[tuple[int, int]]:
        """A run's time: its stretches, and its stops as far as a shift was on."""
        own = [s for table in self.segments.values() for s in table if s["run_id"] == run]
        stops = self.rows(f"SELECT * FROM shopfloor_stoppage WHERE run_id = '{run}'")
        worked = merged([(start, end) for start, end, _ in self.shifts])
        halted = [
            (max(us(stop["started_at"]), start), min(us(stop["ended_at"]), end))
            for stop in stops
            for start, end in worked
        ]
        return merged([(segment["from"], segment["to"]) for segment in own] + halted)

    def elapsed(self, run: str) -> int:
        return sum(end - start for start, end in self.windows(run))

    def finished(self) -> list[str]:
        return [run for run, row in self.runs.items() if row["state"] == "finished"]

    def rate(self, kind: str, run: str) -> int | None:
        """What held on the run's day: the table's own if it has one, else the shop's."""
        day = str(self.day_of(us(self.runs[run]["opened_at"])))
        for owner in (f"= {self.runs[run]['table_id']}", "IS NULL"):
            rows = self.rows(
                f"SELECT amount_minor FROM shopfloor_rate WHERE kind = '{kind}' AND table_id "
                f"{owner} AND valid_from <= '{day}' ORDER BY valid_from DESC LIMIT 1"
            )
            if rows:
                return rows[0][0]
        return None

    def attended(self) -> dict[str, int]:
        """Each person's time by run; who attends two runs at once is split evenly."""
        people = defaultdict(list)
        for table in self.segments.values():
            for segment in table:
                if segment["operator_id"] and self.runs[segment["run_id"]]["state"] != "voided":
                    people[segment["operator_id"]].append(segment)
        found: dict[str, int] = defaultdict(int)
        for own in people.values():
            own = sorted((s for s in own if s["to"]), key=lambda s: (s["from"], s["id"]))
            for start, end in pairwise(sorted({s[at] for s in own for at in ("from", "to")})):
                on = [s["run_id"] for s in own if s["from"] <= start and s["to"] >= end]
                at_once = list(dict.fromkeys(on))
                for place, run in enumerate(at_once):
                    found[run] += (end - start) // len(at_once)
                    found[run] += place < (end - start) % len(at_once)
        return dict(found)

    def money(self) -> dict[tuple[str, str], int]:
        """What each finished run costs by kind, wear and bench apart. A crash's time is told apart
        from the machine's."""
        attended, found = self.attended(), {}
        for run in self.finished():
            crash = self._crash_us(run)
            by_time = {
                "machine": (self.elapsed(run) - crash, "machine"),
                "crash": (crash, "machine"),
                "labour": (attended.get(run, 0), "labour"),
            }
            burnt = self._burnt(run)
            by_time["gas"] = (sum(us for us, _ in burnt), "gas")
            found[run, "energy"] = self._energy(run, burnt)
            for kind, (spent, of) in by_time.items():
                rate = self.rate(of, run)
                found[run, kind] = half_up(Fraction(spent * (rate or 0), HOUR_US))
            found[run, "material"], found[run, "credit"] = self._material(run)
            count, made = self._spoilt(run)
            for kind in ("energy", "gas", "machine", "labour", "material", "credit"):
                sign = -1 if found[run, kind] < 0 else 1
                both = [Fraction(count), Fraction(made - count)]
                part = sign * shared(sign * found[run, kind], both)[0]
                found[run, kind] -= part
                found[run, "crash"] += part
        return {key: minor for key, minor in found.items() if minor}

    def _crash_us(self, run: str) -> int:
        stops = self.rows(
            "SELECT s.* FROM shopfloor_stoppage s JOIN shopfloor_reason r ON r.id = s.reason_id "
            f"WHERE s.run_id = '{run}' AND r.code LIKE 'crash%'"
        )
        spans = merged([(us(stop["started_at"]), us(stop["ended_at"])) for stop in stops])
        return sum(
            max(0, min(end, until) - max(start, begun))
            for start, end in spans
            for begun, until in self.windows(run)
        )

    def _spoilt(self, run: str) -> tuple[int, int]:
        """How many parts of the run a crash spoilt, of how many. One line alone: what a crash moves
        goes by line."""
        [row] = self.rows(
            "SELECT coalesce(sum(quantity), 0) n, min(line_id) line FROM shopfloor_partresult "
            f"WHERE run_id = '{run}' AND outcome = 'scrap' AND cause LIKE 'crash%'"
        )
        lines = self.rows(
            "SELECT line_id, count(DISTINCT copy) n FROM shopfloor_contour "
            f"WHERE revision_id = {self.runs[run]['revision_id']} GROUP BY line_id"
        )
        assert not row["n"] or len(lines) == 1, f"run {run}: a crash in a nest of several lines"
        return row["n"], sum(line["n"] for line in lines)

    def _burnt(self, run: str) -> list[tuple[int, float]]:
        """Microseconds and amps (as sampled, else of the set) of each arc; of a run none of whose
        arcs was heard, the plan's."""
        arcs = self.arcs_of_run[run]
        if arcs:
            return [
                (arc.off - arc.on, segment["current_a"] if arc.amps is None else arc.amps)
                for arc, segment in arcs
            ]
        plan = json.loads(self.runs[run]["plan"])
        [first, *_] = [s for own in self.segments.values() for s in own if s["run_id"] == run]
        return [(round(plan["cut_s"] * 1e6) + round(plan["pierce_s"] * 1e6), first["current_a"])]

    def _energy(self, run: str, burnt: list[tuple[int, float]]) -> int:
        """Volts of the chart the run was planned with."""
        volts = json.loads(self.runs[run]["plan"])["snapshot"]["chart"]["arc_v"]
        kwh = sum(volts * amps * us / 1e6 / 3600 / 1000 / EFFICIENCY for us, amps in burnt)
        return half_up(Fraction(kwh) * (self.rate("energy", run) or 0))

    def _material(self, run: str) -> tuple[int, int]:
        """What of the sheet's cost is this run's, and (below zero) what its remnants are worth."""
        sheet = self.runs[run]["sheet_id"]
        if sheet is None:
            return 0, 0
        [row] = self.rows(f"SELECT * FROM shopfloor_sheet WHERE id = {sheet}")
        if row["owner_id"] is not None or row["cost_minor"] is None:
            return 0, 0
        worth = 0
        for left in self.rows(f"SELECT * FROM shopfloor_sheet WHERE parent_id = {sheet}"):
            share = Fraction(left["area_mm2"]) / Fraction(row["area_mm2"])
            if left["cost_minor"] is not None:
                worth += left["cost_minor"]
            elif left["area_mm2"] >= self.least_mm2:
                worth += half_up(share * row["cost_minor"] * Fraction(self.factor))
        others = [
            r for r in self.runs.values() if r["sheet_id"] == sheet and r["state"] != "voided"
        ]
        place = [other["id"] for other in others].index(run)
        areas = [
            Fraction(self.rows(
                "SELECT coalesce(sum(net_area_mm2), 0) a FROM shopfloor_contour "
                f"WHERE revision_id = {other['revision_id']}")[0]["a"])
            for other in others
        ]  # fmt: skip
        return shared(row["cost_minor"], areas)[place], -shared(worth, areas)[place]
