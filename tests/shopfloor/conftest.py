"""A small shop for the office pages: one job on one nest, cut once from one heat."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.shopfloor.floor_shop import floor, real_data, runs_wanted

__all__ = ["floor", "real_data", "runs_wanted"]
# Two squares of 100 mm, the first with a round hole of 20 mm; lines and I J arcs only.
PROGRAM = b"""%
(two plates)
G21 G90 G91.1
G0 X50 Y40
M3
G3 X50 Y40 I0 J10 F2000
M5
G0 X0 Y0
M3
G1 X100 Y0
G1 X100 Y100
G1 X0 Y100
G1 X0 Y0
M5
G0 X200 Y0
M3
G1 X300 Y0
G1 X300 Y100
G1 X200 Y100
G1 X200 Y0
M5
M30
%
"""
AT = datetime(2026, 10, 8, 15, 0, tzinfo=UTC)


@pytest.fixture
def steel(shop):
    from shopfloor.models import Material

    return Material.objects.create(
        code="A36", name="Mild steel A36", family="mild steel", density_kg_m3=7850
    )


@pytest.fixture
def fast(shop):
    from shopfloor.models import WearSet

    return WearSet.objects.create(code="F120", duty="fast", current_a=120)


@pytest.fixture
def job(shop, steel):
    from shopfloor.jobs.services import job_add, line_add

    made = job_add(number="K-2284", customer="Oxlode Bridge", title="Base plates", due_at=AT)
    line_add(job=made, part="plate", quantity=5, material=steel, thickness_text="1/4 in")
    return made


@pytest.fixture
def nest(job, fast, north, planner, steel):
    from shopfloor.nests.services import nest_add

    return nest_add(
        name="2284-1",
        file_name="plates.nc",
        raw=PROGRAM,
        material=steel,
        thickness_text="1/4 in",
        wear_set=fast,
        table=north,
        by=planner,
    )


@pytest.fixture
def sheet(shop, steel):
    from shopfloor.stock.sheets import sheets_receive

    return sheets_receive(
        count=1,
        material=steel,
        thickness_text="1/4 in",
        length_mm=2500,
        width_mm=1250,
        heat_number="H77",
        certificate=b"%PDF-1.4 a certificate",
        cost_minor=41_500,
        received_at=AT,
    )[0]


@pytest.fixture
def run(nest, sheet, north, operator, job):
    """Cut once: two good, one scrap (the third plate is of another nest's copy)."""
    from shopfloor.models import PartResult, Run

    made = Run.objects.create(
        revision=nest.revisions.get(), sheet=sheet, table=north, opened_at=AT, state="finished"
    )
    for outcome, quantity in (("good", 2), ("scrap", 1)):
        PartResult.objects.create(
            run=made, line=job.lines.get(), outcome=outcome, quantity=quantity, by=operator, at=AT
        )
    return made


@pytest.fixture
def plan(nest, north, fast):
    from shopfloor.models import NestPlan

    return NestPlan.objects.create(
        revision=nest.revisions.get(),
        table=north,
        wear_set=fast,
        cut_mm=862.83,
        travel_mm=300,
        pierces=3,
        cut_s=30,
        pierce_s=1.5,
        travel_s=4,
        touch_off_s=3,
        load_s=600,
        total_s=38.5,
        costs_minor={"machine": 1234, "wear": 56},
        snapshot={
            "chart": {"speed_mm_min": 2400.0},
            "chart_rows": [{"thickness": "1/4 in", "valid_from": "2026-09-01T00:00:00+00:00"}],
            "motion": {"accel_mm_s2": 500.0},
            "rates": {"machine": {"minor": 9500, "from": "2026-09-01"}},
        },
        computed_at=AT,
    )


FEED = """table = "north"
[source]
kind = "push"
[line]
format = "columns"
columns = ["seq", "time", "signal", "value"]
[time]
from = "line"
format = "iso"
zone = "America/Chicago"
[signals]
arc_on = ["ARC ON"]
arc_off = ["ARC OFF"]
"""


@pytest.fixture
def feed(shop, north):
    from shopfloor.sources.services import source_register

    return source_register(name="north-a", text=FEED, by="theo").feed


@pytest.fixture
def sign_in(client):
    def as_(user):
        client.force_login(user)
        return client

    return as_
