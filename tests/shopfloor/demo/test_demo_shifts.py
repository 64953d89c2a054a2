"""The example shop keeps its shifts: at whatever hour it is opened one is well under way, and its
simulated tables cut in no other time unless somebody comes and starts them."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

import pytest

from shopfloor.demo import cast
from shopfloor.demo.live import SimulatedTable
from shopfloor.models import (
    Contour,
    Material,
    Nest,
    NestPlan,
    NestRevision,
    QueueItem,
    Run,
    Sheet,
    Shift,
    Table,
    Torch,
    User,
    WearSet,
)
from shopfloor.people.roles import role_give
from shopfloor.runs.services import run_open
from telemetry.read_once import read_once

ZONE = ZoneInfo("America/Chicago")
EARLY = next(shift for shift in cast.SHIFTS if shift.name == "early")


def local(hour: int, minute: int = 0, day: int = 2) -> float:
    """Of a Monday (2 March 2026) or the days after it, on the shop's wall clock."""
    return datetime(2026, 3, day, hour, minute, tzinfo=ZONE).timestamp()


@pytest.mark.parametrize("month", [1, 4, 7, 10])
def test_at_any_hour_of_any_season_the_early_shift_is_well_under_way(month):
    for quarter in range(24 * 4):
        now = datetime(2026, month, 14, tzinfo=UTC) + timedelta(minutes=15 * quarter)
        here = now.astimezone(ZoneInfo(cast.demo_zone(now))).time()
        begun = (datetime.combine(now, EARLY.start) + timedelta(hours=1.5)).time()
        ending = (datetime.combine(now, EARLY.end) - timedelta(hours=0.75)).time()
        assert begun <= here <= ending, (now, cast.demo_zone(now), here)


class Wire:
    """The table's end of the line: keeps what was said."""

    def __init__(self):
        self.lines = []

    def send(self, text):
        self.lines.append(text)

    def count(self, word):
        return sum(f",{word}," in line for line in self.lines)


@pytest.fixture
def shop(settings, shop):
    shop.zone = "America/Chicago"
    shop.save()
    Shift.objects.all().delete()
    Shift.objects.create(
        name="early", start=time(6), end=time(14, 30), weekdays="12345",
        valid_from=datetime(2026, 1, 1).date(),
    )  # fmt: skip
    return shop


@pytest.fixture
def south(shop):
    """South with a nest of twenty contours, 60 s each, on its list twice."""
    table = Table.objects.create(code="south", name="South")
    Torch.objects.create(table=table, code="1")
    tess = User.objects.create(username="tess", first_name="Tess", last_name="Quiroga")
    role_give(user=tess, role="operator")
    wear = WearSet.objects.create(code="P120", duty="fast", current_a=120)
    steel = Material.objects.create(code="A36", name="A36", density_kg_m3=7850)
    nest = Nest.objects.create(
        name="K-1", material=steel, thickness_mm=12, thickness_text="12 mm", wear_set=wear,
        table=table,
    )  # fmt: skip
    revision = NestRevision.objects.create(
        nest=nest, revision=1, program=b"M30", file_name="k.nc", bytes_sha256="0" * 64,
        path_sha256="0" * 64, made_by=tess,
    )  # fmt: skip
    for number in range(1, 21):
        Contour.objects.create(revision=revision, number=number, copy=number, cut_mm=900)
    NestPlan.objects.create(
        revision=revision, table=table, wear_set=wear, arcs_s=[60.0] * 20, total_s=1400, cut_s=1180,
        pierce_s=20, travel_s=100, touch_off_s=100, computed_at=datetime(2026, 3, 1, tzinfo=UTC),
    )  # fmt: skip
    for position in (1, 2):
        sheet = Sheet.objects.create(
            code=f"S-{position}", material=steel, thickness_mm=12, thickness_text="12 mm",
            length_mm=3000, width_mm=1500, area_mm2=4_500_000,
            received_at=datetime(2026, 3, 1, tzinfo=UTC),
        )  # fmt: skip
        QueueItem.objects.create(nest=nest, table=table, position=position, sheet=sheet)
    return table


@pytest.fixture
def simulated(south):
    return SimulatedTable(south, Wire(), Random(7), idle_since=0.0)


def lived(table, start, until, step_s=5.0):
    now = start
    with read_once():  # nobody changes the shop or its shifts meanwhile
        while now < until:
            table.step(now)
            now += step_s


def opened(south, at):
    item = south.queue.order_by("position").first()
    return run_open(
        revision=item.nest.revisions.get(), table=south, torch=south.torches.get(),
        operator=User.objects.get(username="tess"), at=datetime.fromtimestamp(at, UTC),
        sheet=item.sheet, queue_item=item,
    )  # fmt: skip


def test_a_run_is_burnt_to_its_end_within_the_shift(simulated, south):
    run = opened(south, local(9))
    south.queue.filter(position=2).update(state="dropped")
    lived(simulated, local(9), local(9, 45))
    assert simulated.port.count("ARC ON") == simulated.port.count("ARC OFF") == 20
    run.refresh_from_db()
    assert run.state == "finished"  # by the simulated operator, 75 s after the last arc


def test_at_the_end_of_the_shift_the_contour_is_cut_and_the_rest_waits(simulated, south):
    run = opened(south, local(14, 20))
    lived(simulated, local(14, 20), local(15))
    lived(simulated, local(15), local(22), step_s=30)
    begun, ended = simulated.port.count("ARC ON"), simulated.port.count("ARC OFF")
    assert begun == ended
    assert 5 <= begun < 20
    run.refresh_from_db()
    last = run.segments.get()
    assert (run.state, last.end_reason) == ("stopped", "shift")
    assert local(14, 30) <= last.ended_at.timestamp() <= local(14, 32)
    assert south.queue.filter(state="waiting").count() == 1  # nobody began the next one
    lived(simulated, local(22), local(22, 1))
    assert simulated.port.lines[-1].rstrip().endswith("AMPS,0.0")  # the source itself still speaks


def test_the_next_shift_takes_the_half_burnt_sheet_up_first(simulated, south):
    run = opened(south, local(14, 20))
    lived(simulated, local(14, 20), local(14, 40))
    lived(simulated, local(5, 50, day=3), local(6, 5, day=3))
    run.refresh_from_db()
    assert run.state == "open"
    assert [one.end_reason for one in run.segments.order_by("started_at")] == ["shift", ""]
    assert run.segments.last().started_at.timestamp() >= local(6, 0, day=3)
    assert Run.objects.count() == 1


def test_somebody_who_comes_at_night_and_starts_is_burnt_for(simulated, south):
    lived(simulated, local(23), local(23, 5))
    assert simulated.port.count("ARC ON") == 0
    opened(south, local(23, 5))
    lived(simulated, local(23, 5), local(23, 20))
    assert simulated.port.count("ARC ON") >= 8


def test_a_weekend_is_quiet(simulated, south):
    lived(simulated, local(10, day=7), local(11, day=7))
    assert simulated.port.count("ARC ON") == 0
    assert Run.objects.count() == 0


def test_a_run_begun_again_at_a_contour_burns_from_there(simulated, south):
    """Contours below the one a stretch begins with are not burnt again: 20 - 15 = 5 are left."""
    run = opened(south, local(9))
    south.queue.filter(position=2).update(state="dropped")
    run.segments.update(first_contour=16)
    lived(simulated, local(9), local(9, 30))
    assert simulated.port.count("ARC ON") == 5
