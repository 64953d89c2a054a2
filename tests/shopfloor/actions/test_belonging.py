"""Whatever an entry names belongs to the table of its screen, or is free to move there."""

from __future__ import annotations

import json
import uuid

import pytest

from shopfloor.actions.envelope import MOST_BYTES
from shopfloor.actions.kinds import KINDS
from shopfloor.models import (
    Action,
    Change,
    Check,
    Fitting,
    Run,
    Sheet,
    Stoppage,
)
from tests.shopfloor.floor_shop import MINUTE, T0

pytestmark = pytest.mark.django_db

ELSEWHERE = "South"  # what a refusal names


@pytest.fixture
def two(floor, south, supervisor):
    """North cuts and has stopped, South cuts a sheet, has stopped, was checked, lost a piece and
    set a second half burnt sheet aside. Gives South's ids by name."""
    floor.tray(label="T-1")
    floor.tray(label="T-2")
    floor.done("start", T0, nest=floor.nest("N-1").nest.name, sheet=floor.sheet("S-1").code)
    floor.done("stop", T0 + MINUTE)
    there = {"table": south.code, "person": supervisor}
    aside = floor.queue(floor.nest("N-3"), floor.sheet("S-3"))
    aside.table = south
    aside.save()
    floor.done("start", T0, queue_item=aside.pk, sheet="S-3", **there)
    floor.nest("N-2"), floor.sheet("S-2")
    floor.done("start", T0 + MINUTE, nest="N-2", sheet="S-2", **there)
    run = Run.objects.get(sheet__code="S-2")
    floor.done("change_tray", T0 + MINUTE, tray="T-2", **there)
    crash = str(uuid.uuid4())
    floor.done("change_piece", T0 + MINUTE, old="T-2-electrode", state="crashed", incident=crash,
               **there)  # fmt: skip
    stop = floor.do("stop", T0 + 2 * MINUTE, **there)
    check = floor.done("check", T0 + 2 * MINUTE, passed=True, **there)["check"]
    return {
        "run": str(run.pk),
        "item": aside.pk,
        "stoppage": stop.result["stoppage"],
        "check": check,
        "action": str(stop.pk),
        "piece": "T-2-nozzle",
        "crash": crash,
        "sheet": "S-2",
    }


PARTS = {"exceptions": []}
# kind -> payloads by what they name, with {..} for South's
FOREIGN = {
    "start": [
        {"queue_item": "{item}"},
        {"nest": "N-1", "sheet": "{sheet}"},
        {"nest": "N-1", "table": "south"},
    ],
    "stop": [{"run": "{run}"}, {"table": "south"}],
    "resume": [{"run": "{run}"}, {"table": "south"}],
    "give_reason": [{"stoppage": "{stoppage}", "reason": "power"}],
    "restart_at": [{"run": "{run}", "contour": 2}],
    "swap_sheet": [
        {"run": "{run}", "sheet": "S-9", "swap_reason": "x", "since": "start"},
        {"sheet": "{sheet}", "swap_reason": "x", "since": "start"},
    ],
    "handover": [{"run": "{run}"}],
    "finish": [{"run": "{run}", **PARTS}, {"table": "south", **PARTS}],
    "change_tray": [{"tray": "T-1", "table": "south"}],
    "change_piece": [
        {"old": "{piece}", "state": "shelved"},
        {"new": "{piece}"},
        {"new": "T-1-electrode", "incident": "{crash}"},
        {"new": "T-1-electrode", "table": "south"},
    ],
    "inspect": [{"piece": "{piece}", "pit_mm": 0.4}],
    "check": [{"run": "{run}", "passed": True}],
    "countersign": [{"check": "{check}"}],
    "air": [{"table": "south", "drained": True}],
    "note": [{"run": "{run}", "text": "x"}],
    "undo": [{"action": "{action}"}],
    "bench": [{"line": "no line", "kind": "dross", "minutes": 5, "table": "south"}],
}
NOTHING = [
    "", "x", "9" * 15, 999_999_999, -1, 0, 2**53, 1.5, True, None, [], {}, ["1"],
    str(uuid.UUID(int=7)), "north' OR 1=1", "٣",
]  # fmt: skip


def filled(payload, ids):
    plain = json.dumps(payload)
    for name, value in ids.items():
        plain = plain.replace(f'"{{{name}}}"', json.dumps(value))
    return json.loads(plain)


def test_every_kind_is_tried(db):
    assert set(FOREIGN) == set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_another_tables_is_refused_and_left_alone(floor, two, south, kind):
    floor.reason()
    floor.sheet("S-9")
    written = Change.objects.exclude(table=Action._meta.db_table)
    before = written.count()
    for payload in FOREIGN[kind]:
        action = floor.do(
            kind, T0 + 3 * MINUTE, terminal=floor.terminal, pin_given=True, **filled(payload, two)
        )
        assert action.state == "refused", (payload, action.result)
        assert action.result["message"]
        assert "could not take" not in action.result["message"]
        kept = Action.objects.get(pk=action.pk)
        assert kept.payload["table"] in ("north", payload.get("table"))
    assert written.count() == before
    assert Run.objects.get(pk=two["run"]).state == "stopped"
    assert Stoppage.objects.get(pk=two["stoppage"]).ended_at is None
    assert Check.objects.get().countersigned_by is None
    assert Fitting.objects.filter(torch__table=south, removed_at=None).count() == 1
    assert not Sheet.objects.get(code="S-9").runs.exists()


@pytest.mark.parametrize("kind", KINDS)
def test_what_names_nothing_is_refused_or_taken_and_never_breaks(floor, two, kind, caplog):
    """Each name of each kind's payload, given as each sort of nothing."""
    names = {name for payload in FOREIGN[kind] for name in payload} - {"table"}
    whole = filled(FOREIGN[kind][0], two)
    for name in sorted(names):
        for value in NOTHING:
            action = floor.do(kind, T0 + 3 * MINUTE, pin_given=True, **{**whole, name: value})
            assert action.state in ("refused", "applied", "conflict")
            assert "could not take" not in action.result.get("message", ""), (name, value)
    assert Run.objects.get(pk=two["run"]).state == "stopped"


def test_the_same_is_taken_at_its_own_table(floor, two, south, supervisor):
    """So it is the table that is refused above, and nothing else in those payloads."""
    at = T0 + 3 * MINUTE
    there = {"table": south.code, "person": supervisor}
    floor.reason()
    floor.done("give_reason", at, stoppage=two["stoppage"], reason="power", **there)
    floor.done("inspect", at, piece=two["piece"], pit_mm=0.4, **there)
    floor.done("note", at, run=two["run"], text="x", **there)
    floor.done("countersign", at, check=two["check"], table=south.code, pin_given=True)
    floor.done("handover", at, run=two["run"], **there)
    floor.done("finish", at, run=two["run"], exceptions=[], **there)


def test_a_nest_that_waits_on_another_tables_list_may_be_started_here(floor, south):
    item = floor.queue(floor.nest(), floor.sheet("S-1"))
    item.table = south
    item.save()
    floor.done("start", T0, queue_item=item.pk, sheet="S-1")
    item.refresh_from_db()
    assert item.table == floor.table


def test_a_program_goes_with_its_own_list_entry(floor):
    item = floor.queue(floor.nest("N-1"), floor.sheet("S-1"))
    other = floor.nest("N-2")
    refused = floor.do("start", T0, queue_item=item.pk, revision=other.pk, sheet="S-1")
    assert refused.state == "refused"
    assert refused.result["message"] == "That program is another nest's."


def test_a_value_no_record_keeps_is_refused_in_words(floor):
    """A remnant's code is 40 letters at most."""
    floor.done("start", T0, nest=floor.nest().nest.name, sheet=floor.sheet().code)
    remnant = {"length_mm": 100, "width_mm": 100, "code": "x" * 41}
    refused = floor.do("finish", T0 + MINUTE, exceptions=[], remnant=remnant)
    assert refused.state == "refused"
    assert "at most 40 characters" in refused.result["message"]
    assert Run.objects.get().state == "open"


def test_what_breaks_the_program_is_kept_as_refused(floor, monkeypatch, caplog):
    from shopfloor.actions import services as actions

    def broken(call):
        raise RuntimeError("boom")

    monkeypatch.setattr(actions, "handler_of", lambda kind: broken)
    refused = floor.do("stop", T0)
    assert (refused.state, Action.objects.get().state) == ("refused", "refused")
    assert "boom" in caplog.text


def test_an_entry_too_large_is_refused_and_its_beginning_kept(floor):
    refused = floor.do("stop", T0, note="n" * MOST_BYTES)
    kept = Action.objects.get(pk=refused.pk)
    assert kept.state == "refused"
    assert "256 kB" in kept.result["message"]
    assert kept.payload["cut"] is True
    assert kept.payload["bytes"] > MOST_BYTES
    assert kept.payload["begins"].startswith('{"note": "nnn')
    assert len(json.dumps(kept.payload)) < 3000


def test_the_largest_honest_finish_is_taken_whole(floor):
    """3,000 parts, each named: {"contour": 1234, "outcome": "scrap", "cause": "slag"} is 62 bytes
    with its comma, 186 kB in all."""
    said = [{"contour": n, "outcome": "scrap", "cause": "slag"} for n in range(1, 3001)]
    floor.done("start", T0, nest=floor.nest(contours=2).nest.name)
    refused = floor.do("finish", T0 + MINUTE, exceptions=said)
    assert "belongs to no ordered part" in refused.result["message"]
    assert refused.payload["exceptions"] == said


class TestInAnothersName:
    def test_a_second_signature_takes_badge_and_pin(self, floor, supervisor):
        floor.done("start", T0, nest=floor.nest().nest.name)
        check = floor.done("check", T0 + MINUTE, passed=True)["check"]
        refused = floor.do("countersign", T0 + MINUTE, check=check, person=supervisor)
        assert refused.state == "refused"
        assert "badge and PIN" in refused.result["message"]
        assert Check.objects.get().countersigned_by is None
        floor.done("countersign", T0 + MINUTE, check=check, person=supervisor, pin_given=True)

    def test_nobody_signs_who_lost_the_right_meanwhile(self, floor, supervisor):
        floor.done("start", T0, nest=floor.nest().nest.name)
        check = floor.done("check", T0 + MINUTE, passed=True)["check"]
        supervisor.groups.clear()
        person = type(supervisor).objects.get(pk=supervisor.pk)
        refused = floor.do("countersign", T0 + MINUTE, check=check, person=person, pin_given=True)
        assert refused.state == "refused"

    @pytest.mark.parametrize("named", ["dana", "B-dana", "nobody there"])
    def test_nobody_is_handed_a_run_by_somebody_else(self, floor, supervisor, named):
        floor.done("start", T0, nest=floor.nest().nest.name)
        refused = floor.do("handover", T0 + MINUTE, to=named)
        assert refused.state == "refused"
        assert "signs in with badge and PIN" in refused.result["message"]
        assert [one.operator for one in Run.objects.get().segments.all()] == [floor.person]
