"""A tablet's clock that is set while entries wait on it: each is put where it happened."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest

from shopfloor.actions.services import action_receive
from shopfloor.models import Run, Stoppage
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0

HOUR = 60 * MINUTE


def ms(span):
    return span // timedelta(milliseconds=1)


@pytest.fixture
def sent(floor):
    """One entry of true time `at`, delivered at `now`, by a clock that was ahead by `then` when
    it was made and by `later` when it was sent. `known`: ahead at the last contact before;
    `slept`: how long the page's counter stood still."""

    def send(kind, at, now, *, then, later, known=None, slept=timedelta(0), life=True, **payload):
        return action_receive(
            envelope={
                "id": str(uuid.uuid4()),
                "kind": kind,
                "payload": payload,
                "at": (at + then).isoformat(),
                "sent_at": (now + later).isoformat(),
                "age_ms": ms(now - at - slept) if life else None,
                "known_ms": None if known is None else ms(known),
            },
            person=floor.person,
            terminal=floor.terminal,
            now=now,
        )

    return send


ZERO = timedelta(0)
CASES = {
    "right all along": {"then": ZERO, "later": ZERO, "known": ZERO},
    "an hour fast, corrected": {"then": HOUR, "later": ZERO, "known": HOUR},
    "an hour slow, corrected": {"then": -HOUR, "later": ZERO, "known": -HOUR},
    "set wrong after the last contact": {"then": -2 * HOUR, "later": -2 * HOUR, "known": ZERO},
    "set twice": {"then": 3 * HOUR, "later": ZERO, "known": ZERO},
    "corrected, last contact unknown": {"then": HOUR, "later": ZERO},
    "slept": {"then": ZERO, "later": ZERO, "known": ZERO, "slept": 20 * MINUTE},
    "slept, an hour slow, corrected": {
        "then": -HOUR,
        "later": ZERO,
        "known": -HOUR,
        "slept": 20 * MINUTE,
    },
}


@pytest.mark.parametrize("case", CASES)
def test_an_entry_is_put_where_it_happened(sent, case):
    note = sent("note", T0, T0 + 30 * MINUTE, text="wet plate", **CASES[case])
    assert note.at == T0


def test_after_a_reload_the_clock_of_the_delivery_holds(sent):
    """Nobody counted in between: as before, what the clock is off now is taken for then."""
    note = sent("note", T0, T0 + HOUR, then=5 * MINUTE, later=5 * MINUTE, life=False, text="x")
    assert note.at == T0


@pytest.mark.parametrize("age", [True, "12", float("nan"), 1e300, [], -5])
def test_readings_that_are_none_are_passed_over(floor, age):
    entry = {"id": str(uuid.uuid4()), "kind": "note", "payload": {"text": "x"}}
    times = {"at": T0.isoformat(), "sent_at": T0.isoformat(), "age_ms": age, "known_ms": age}
    action = action_receive(
        envelope={**entry, **times}, person=floor.person, terminal=floor.terminal, now=T0
    )
    assert (action.state, action.at) == ("applied", T0)


@pytest.mark.parametrize("named", [True, False])
def test_a_stop_before_its_run_began_is_not_stored(floor, named):
    run = floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk)["run"]
    stop = floor.do("stop", T0 - 10 * MINUTE, now=T0 + MINUTE, **({"run": run} if named else {}))
    assert stop.state == "refused"
    assert "before its run began" in stop.result["message"]
    assert not Stoppage.objects.exists()
    assert Run.objects.get().state == "open"


def test_a_stop_a_moment_before_is_the_same_touch(floor):
    floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk)
    run = str(Run.objects.get().pk)
    floor.done("stop", T0 - 2 * SECOND, now=T0 + MINUTE, run=run)
    assert Stoppage.objects.get().started_at == T0


def test_a_stop_of_an_empty_table_is_stored(floor):
    floor.done("stop", T0 - MINUTE, now=T0)
    assert Stoppage.objects.get().started_at == T0 - MINUTE
