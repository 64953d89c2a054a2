"""Arcs on a table where nobody pressed start, and a signal that went quiet in an arc."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from shopfloor.actions.services import action_receive
from shopfloor.models import ArcAssignment, Run
from shopfloor.runs.arcs import to_us
from shopfloor.site.queries import shop_zone
from telemetry.models import Arc, Cursor

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


def arc(floor, on, seconds):
    on_us = to_us(on)
    return Arc.objects.create(
        key=f"{floor.feed.name}|1|{on_us}",
        feed=floor.feed,
        table=floor.table.code,
        torch="1",
        on_us=on_us,
        off_us=None if seconds is None else on_us + int(seconds * 1e6),
        ended="open" if seconds is None else "off",
        feed_version=1,
        changed_us=on_us,
    )


def heard(floor, at):
    Cursor.objects.create(feed=floor.feed, lane="live", last_line_us=to_us(at))


def main(page):
    text = page.content.decode()
    idle = text[text.index('data-view="idle"') : text.index("<aside")]
    return " ".join(re.sub(r"<[^>]+>", " ", idle).split()), text


def start(floor, operator, **payload):
    return action_receive(
        envelope={
            "id": str(uuid.uuid4()),
            "kind": "start",
            "payload": {"table": "north", "queue_item": floor.items[0].pk, **payload},
            "at": timezone.now().isoformat(),
        },
        person=operator,
        terminal=None,
        now=timezone.now(),
    )


def test_an_open_arc_without_a_run_is_not_nothing(signed_in, floor):
    began = timezone.now() - 4 * MINUTE
    arc(floor, began, 30)
    arc(floor, began + MINUTE, None)
    words, whole = main(signed_in.get("/floor/north/"))
    assert "The torch burns, and no run is started" in words
    assert "Nothing is cutting" not in words
    assert f'name="since" value="{began.isoformat()}"' in whole


def test_a_start_begins_with_the_arcs_that_were_burnt_before_it(floor, operator):
    began = timezone.now() - 14 * MINUTE
    for n in range(3):
        arc(floor, began + n * MINUTE, 30)
    made = start(floor, operator, since=began.isoformat())
    assert made.state == "applied", made.result
    run = Run.objects.get()
    assert run.opened_at == run.segments.get().started_at == began
    assert ArcAssignment.objects.filter(segment__run=run).count() == 3


@pytest.mark.parametrize(
    ("back", "word"), [(timedelta(hours=13), "12 hours"), (-MINUTE, "12 hours")]
)
def test_a_start_goes_back_no_further_than_it_can_have_been(floor, operator, back, word):
    made = start(floor, operator, since=(timezone.now() - back).isoformat())
    assert (made.state, word in made.result["message"]) == ("refused", True)


def test_a_start_never_reaches_into_another_run(floor, operator):
    start(floor, operator)
    made = start(
        floor, operator, queue_item=floor.items[1].pk, since=(timezone.now() - MINUTE).isoformat()
    )
    assert made.state == "refused"
    assert "Another run" in made.result["message"]


def test_a_frozen_signal_says_since_when_nothing_came(signed_in, floor, operator):
    """The arc is younger than its plan allows, but nobody reads the source."""
    start(floor, operator)
    run = Run.objects.get()
    lit = timezone.now() - timedelta(seconds=20)
    burning = arc(floor, lit, None)
    ArcAssignment.objects.create(
        arc_key=burning.key, segment=run.segments.get(), contour_number=2, at=lit
    )
    page = signed_in.get("/floor/north/").content.decode()
    assert "The torch burns now" in page
    heard(floor, lit)
    page = signed_in.get("/floor/north/").content.decode()
    assert "The torch burns now" not in page
    said = lit.astimezone(ZoneInfo(shop_zone())).strftime("%H:%M")
    assert f"nothing came from the signal since {said}" in page


def test_a_frozen_signal_without_a_run_is_unknown(signed_in, floor):
    lit = timezone.now() - 3 * MINUTE
    arc(floor, lit, None)
    heard(floor, lit)
    words, _ = main(signed_in.get("/floor/north/"))
    assert "The torch burns" not in words
    assert "nobody knows what burnt since" in words
