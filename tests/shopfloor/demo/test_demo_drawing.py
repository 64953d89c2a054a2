"""The invented shop's drawing: read by ezdxf, which nobody here wrote, and by our own reader."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta

import ezdxf
import pytest

from planning.calc.drawing import Reading, read_drawing
from shopfloor.demo.drawing import PART, drawings, dxf
from shopfloor.demo.make import standing
from shopfloor.models import Customer, Job, JobLine, JobState, Material, User

NOW = datetime(2026, 10, 8, 15, tzinfo=UTC)
# an L of 220 by 200, both legs: 0.4 x 200 high and 0.4 x 220 wide; three holes of 13
OUTLINE_MM = 220 + 80 + 132 + 120 + 88 + 200


def test_an_independent_reader_finds_the_same_lines_and_circles():
    space = ezdxf.read(io.StringIO(dxf(PART).decode())).modelspace()
    cut = [each for each in space if each.dxf.layer == "CUT"]
    lines = [each for each in cut if each.dxftype() == "LINE"]
    assert sum(line.dxf.start.distance(line.dxf.end) for line in lines) == pytest.approx(OUTLINE_MM)
    assert [each.dxf.radius for each in cut if each.dxftype() == "CIRCLE"] == [6.5] * 3
    [bend] = [each for each in space if each.dxf.layer == "MARK"]
    assert bend.dxf.start.distance(bend.dxf.end) == pytest.approx(88)


def test_it_is_a_part_with_holes_and_a_mark_and_nothing_to_look_at():
    read = read_drawing(dxf(PART), Reading())
    assert read.cut_mm == pytest.approx(OUTLINE_MM + 3 * 3.14159265 * 13, abs=0.01)
    assert read.mark_mm == pytest.approx(88)
    assert read.pierces == 4
    area = 220 * 80 + 88 * 120 - 3 * 3.14159265 * 6.5**2
    assert read.net_area_mm2 == pytest.approx(area, rel=1e-4)
    assert not [note for note in read.notes if note.fault]


@pytest.mark.django_db
def test_the_open_lines_that_ask_for_the_part_are_made_to_it():
    standing(begin=NOW - timedelta(days=90), now=NOW, zone="America/Chicago")
    steel, customer = Material.objects.get(code="A36"), Customer.objects.first()
    found = {}
    for number, state in (("K-1", JobState.OPEN), ("K-2", JobState.CLOSED)):
        job = Job.objects.create(number=number, customer=customer, title="Brackets", state=state)
        found[number] = JobLine.objects.create(
            job=job, number=1, part="bracket 220 x 200", quantity=4, material=steel,
            thickness_mm=6.0, thickness_text="6 mm",
        )  # fmt: skip
    made = drawings(by=User.objects.get(username="ines"))
    assert [line.pk for line in made.lines.all()] == [found["K-1"].pk]
