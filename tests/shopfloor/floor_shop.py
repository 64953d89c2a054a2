"""A small shop floor: one set in a torch, a nest of round contours, a sheet, and arcs written as
intake writes them."""

from __future__ import annotations

import itertools
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from shopfloor.actions.services import action_receive
from shopfloor.models import (
    Contour,
    Customer,
    Heat,
    Job,
    JobLine,
    Material,
    Nest,
    NestPlan,
    NestRevision,
    Piece,
    PieceKind,
    QueueItem,
    Reason,
    SetPart,
    Sheet,
    Table,
    Terminal,
    Tray,
    WearSet,
)
from shopfloor.people.badges import terminal_register
from shopfloor.runs.arcs import to_us
from shopfloor.runs.follow import follow_arcs
from tests.migrated import copied

ROOT = Path(__file__).resolve().parents[2]
T0 = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
SECOND = timedelta(seconds=1)
MINUTE = timedelta(minutes=1)


class Floor:
    """The world of these tests, with the verbs that fill it."""

    def __init__(self, table, person):
        self.table = table
        self.person = person
        self.torch = table.torches.get(code="1")
        self.terminal, self.token = terminal_register(code="t1", name="North", table=table)
        self.fast = WearSet.objects.create(code="fast-105", duty="fast", current_a=105)
        self.fine = WearSet.objects.create(code="fine-45", duty="fine", current_a=45)
        self.steel = Material.objects.create(code="carbon", name="carbon", density_kg_m3=7850)
        self.customer = Customer.objects.create(name="Hollin Gate Works")
        self._stamp = itertools.count(1)
        self._feeds = {}

    def tray(self, wear_set=None, label="T-1", price=1400):
        wear_set = wear_set or self.fast
        tray = Tray.objects.create(label=label, wear_set=wear_set)
        for kind in (PieceKind.ELECTRODE, PieceKind.NOZZLE):
            part, _ = SetPart.objects.get_or_create(
                wear_set=wear_set,
                kind=kind,
                defaults={"name": f"{wear_set} {kind}", "price_minor": price, "in_drawer": 3},
            )
            Piece.objects.create(label=f"{label}-{kind}", part=part, tray=tray, price_minor=price)
        return tray

    def line(self, number="J-1", quantity=10, part="ring", u_range_asked=None):
        job, _ = Job.objects.get_or_create(
            number=number, defaults={"customer": self.customer, "title": number}
        )
        return JobLine.objects.create(
            job=job,
            number=job.lines.count() + 1,
            part=part,
            quantity=quantity,
            material=self.steel,
            thickness_mm=6,
            thickness_text="6 mm",
            u_range_asked=u_range_asked,
        )

    def nest(self, name="N-1", contours=4, seconds=30.0, lines=None, plan=True, pierces=1):
        """`lines` gives each contour's line in turn; every contour is a part of its own."""
        seconds = list(seconds) if isinstance(seconds, list) else [seconds] * contours
        nest = Nest.objects.create(
            name=name,
            material=self.steel,
            thickness_mm=6,
            thickness_text="6 mm",
            wear_set=self.fast,
            table=self.table,
        )
        revision = NestRevision.objects.create(
            nest=nest,
            revision=1,
            program=b"M30",
            file_name=f"{name}.nc",
            bytes_sha256="0" * 64,
            path_sha256="0" * 64,
            made_by=self.person,
        )
        copies = {}
        for index in range(contours):
            line = lines[index % len(lines)] if lines else None
            copies[line] = copies.get(line, 0) + 1
            Contour.objects.create(
                revision=revision,
                number=index + 1,
                line=line,
                part=line.part if line else "",
                copy=copies[line],
                cut_mm=100,
                pierces=pierces,
            )
        if plan:
            NestPlan.objects.create(
                revision=revision,
                table=self.table,
                wear_set=self.fast,
                arcs_s=seconds,
                total_s=sum(seconds) + 5.0 * contours,
                computed_at=T0,
            )
        return revision

    def sheet(self, code="S-1", heat=None, **more):
        values = {"length_mm": 3000, "width_mm": 1500, "area_mm2": 4_500_000, "cost_minor": 60_000}
        return Sheet.objects.create(
            code=code,
            material=self.steel,
            thickness_mm=6,
            thickness_text="6 mm",
            heat=heat,
            received_at=T0,
            **{**values, **more},
        )

    def heat(self, number):
        return Heat.objects.create(number=number, material=self.steel)

    def queue(self, revision, sheet=None):
        return QueueItem.objects.create(
            nest=revision.nest,
            table=self.table,
            sheet=sheet,
            position=self.table.queue.count() + 1,
        )

    def reason(self, code="power", label="power cut"):
        return Reason.objects.create(code=code, label=label)

    # what happens

    def do(
        self,
        kind,
        at,
        /,
        *,
        person=None,
        terminal=None,
        now=None,
        fast_by=None,
        key=None,
        pin_given=False,
        **payload,
    ):
        """One delivered action, from the screen of the table it names. `fast_by`: how far the
        device's clock is ahead."""
        ahead = fast_by or timedelta(0)
        now = now or at + SECOND
        return action_receive(
            envelope={
                "id": str(key or uuid.uuid4()),
                "kind": kind,
                "payload": payload,
                "at": (at + ahead).isoformat(),
                "sent_at": (now + ahead).isoformat(),
            },
            person=person or self.person,
            terminal=terminal or self.screen(payload.get("table", self.table.code)),
            now=now,
            pin_given=pin_given,
        )

    def screen(self, code):
        """The screen beside a table, registered when it is first needed."""
        if code == self.table.code:
            return self.terminal
        table = Table.objects.get(code=code)
        known = Terminal.objects.filter(table=table).first()
        return known or terminal_register(code=f"beside-{code}", name=code, table=table)[0]

    def done(self, kind, at, /, **more):
        action = self.do(kind, at, **more)
        assert action.state == "applied", action.result
        return action.result

    def feed(self, name="north-1", **more):
        from telemetry.models import Feed

        if name not in self._feeds:
            self._feeds[name], _ = Feed.objects.get_or_create(
                name=name,
                defaults={"table": self.table.code, "kind": "serial", "created_us": 0, **more},
            )
        return self._feeds[name]

    def arc(self, on, seconds, *, torch="1", ended="off", pierces=1, feed=None, key=None):
        """An arc as intake stores it; `seconds` None: it still burns."""
        from telemetry.models import Arc

        feed = feed or self.feed()
        on_us = to_us(on)
        off_us = None if seconds is None else on_us + round(seconds * 1e6)
        return Arc.objects.create(
            key=key or f"{feed.name}|{torch}|{on_us}",
            feed=feed,
            table=self.table.code,
            torch=torch,
            on_us=on_us,
            off_us=off_us,
            ended="open" if seconds is None else ended,
            pierces=pierces,
            feed_version=1,
            changed_us=next(self._stamp),
        )

    def arcs(self, start, lengths, *, gap_s=5.0, **more):
        """A string of arcs; returns when the last one ended."""
        at = start
        for seconds in lengths:
            self.arc(at, seconds, **more)
            at += timedelta(seconds=seconds + gap_s)
        return at - timedelta(seconds=gap_s)

    def follow(self):
        count = 0
        while step := follow_arcs():
            count += step
        return count


@pytest.fixture
def floor(north, operator):
    return Floor(north, operator)


@pytest.fixture
def runs_wanted():
    """Ids of the runs that background work is wanted for."""
    from shopfloor.models import Work

    return lambda: set(Work.objects.filter(kind="run").values_list("key", flat=True))


@pytest.fixture
def real_data(tmp_path, migrated):
    """The environment of a program run on a database file of its own."""
    copied(migrated, tmp_path)
    return {"KERFBOOK_DATA": str(tmp_path), "PYTHONPATH": str(ROOT), "DATABASE_URL": ""}
