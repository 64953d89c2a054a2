"""Air readings: booked on their shift, beside the pieces that failed in it."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse

from planning.reports import air_by_shift
from shopfloor.models import AirReading, Change, Piece
from tests.shopfloor.floor_shop import MINUTE

EARLY = datetime(2026, 6, 1, 12, tzinfo=UTC)  # 07:00 in Chicago
NIGHT = datetime(2026, 6, 2, 8, tzinfo=UTC)  # 03:00: the night that began on the 1st


def test_a_reading_belongs_to_the_shift_it_was_read_in(floor):
    result = floor.done("air", EARLY, flowing_kpa=600.0, drained=True)
    assert (result["shift"], result["shift_date"]) == ("early", "2026-06-01")
    result = floor.done("air", NIGHT, drained=False)
    assert (result["shift"], result["shift_date"]) == ("night", "2026-06-01")
    row = AirReading.objects.get(pk=result["air"])
    assert (row.flowing_kpa, row.drained, row.by, row.table) == (
        None,
        False,
        floor.person,
        floor.table,
    )


@pytest.mark.parametrize(
    ("payload", "said"),
    [
        ({}, "Nothing was read."),
        ({"flowing_kpa": -1}, "-1 kPa of air?"),
        ({"flowing_kpa": 3000}, "3000 kPa of air?"),
        ({"flowing_kpa": "much"}, "is not a number"),
        ({"drained": "yes"}, "yes or no?"),
    ],
)
def test_what_cannot_be_is_refused(floor, payload, said):
    action = floor.do("air", EARLY, **payload)
    assert action.state == "refused"
    assert said in action.result["message"]
    assert not AirReading.objects.exists()


def test_a_reading_is_taken_back_and_that_is_on_record(floor):
    action = floor.do("air", EARLY, flowing_kpa=500.0)
    floor.done("undo", EARLY + MINUTE, action=str(action.pk))
    assert not AirReading.objects.exists()
    operations = Change.objects.filter(table="shopfloor_airreading").order_by("pk")
    assert list(operations.values_list("operation", flat=True)) == ["insert", "delete"]


def fail(floor, label, at, incident=None, state="failed"):
    floor.done(
        "change_piece", at, old=label, state=state, reason="moisture",
        **({"incident": incident} if incident else {}),
    )  # fmt: skip


def test_failures_stand_beside_the_air_of_their_shift(floor):
    """Early on the 1st: 6.0 and 5.2 bar, drained once, a nozzle fails and takes an electrode along.
    In the night nothing is read and a nozzle fails; one more crashes, which no air does."""
    for label in ("A", "B", "C"):
        floor.tray(label=label)
    floor.done("change_tray", EARLY - MINUTE, tray="A")
    floor.done("air", EARLY, flowing_kpa=600.0, drained=True)
    floor.done("air", EARLY + 20 * MINUTE, flowing_kpa=520.0)
    together = str(uuid.uuid4())
    fail(floor, "A-nozzle", EARLY + 30 * MINUTE, together)
    fail(floor, "A-electrode", EARLY + 30 * MINUTE, together)
    floor.done("change_tray", NIGHT - MINUTE, tray="B")
    fail(floor, "B-nozzle", NIGHT)
    fail(floor, "B-electrode", NIGHT, state="crashed")
    frame = air_by_shift(now=NIGHT + timedelta(hours=1))
    rows = [tuple(row) for row in frame.astype(object).where(frame.notna(), None).to_numpy()]
    day = date(2026, 6, 1)
    assert rows == [
        (day, "night", "North", None, None, 0, None, 1, "B-nozzle (moisture)"),
        (day, "early", "North", 520.0, 600.0, 2, True, 1, "A-nozzle (moisture)"),
    ]  # the electrode went with the nozzle
    newest = air_by_shift(now=NIGHT + timedelta(hours=1), newest=1)
    assert list(newest["shift"]) == ["night"]
    assert Piece.objects.get(label="B-electrode").state == "crashed"


def test_the_newest_shifts_are_those_of_all(floor):
    """Each reading with what came before it, however far back the days lie that are read first."""
    for n, days in enumerate((27, 20, 16, 13, 12, 9, 6, 5, 4, 3, 1, 0)):
        floor.done("air", EARLY - timedelta(days=days, hours=n % 5), flowing_kpa=500.0 + n)
    now = EARLY + timedelta(hours=1)
    whole = air_by_shift(now=now)
    assert len(whole) > 8
    for newest in range(1, len(whole) + 2):
        assert air_by_shift(now=now, newest=newest).equals(whole.head(newest))


def test_what_lies_further_back_is_left_out(floor):
    floor.done("air", EARLY, flowing_kpa=600.0)
    assert len(air_by_shift(now=EARLY + timedelta(days=27))) == 1
    assert len(air_by_shift(now=EARLY + timedelta(days=29))) == 0


def test_the_wear_page_shows_them_as_each_person_reads_pressure(
    floor, client, supervisor, monkeypatch
):
    """600 kPa are 6.0 bar, and 600 / 6.894757 = 87.02 psi."""
    floor.tray(label="A")
    floor.done("change_tray", EARLY - MINUTE, tray="A")
    floor.done("air", EARLY, flowing_kpa=600.0, drained=True)
    monkeypatch.setattr("dashboards.data.now", lambda: EARLY + 30 * MINUTE)
    client.force_login(supervisor)
    page = client.get(reverse("wear")).content.decode()
    assert "6.0 bar" in page
    assert "drained" in page
    supervisor.units = "inch"
    supervisor.save()
    assert "87 psi" in client.get(reverse("wear")).content.decode()
