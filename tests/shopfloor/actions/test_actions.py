from __future__ import annotations

import uuid
from datetime import timedelta

import pytest

from shopfloor.actions.kinds import KINDS, handler_of
from shopfloor.actions.services import action_receive, public_result
from shopfloor.errors import FloorError, PinLocked
from shopfloor.models import (
    Action,
    ArcAssignment,
    BenchEntry,
    Fitting,
    Inspection,
    PartResult,
    Piece,
    QueueItem,
    Run,
    Segment,
    Sheet,
    Stoppage,
)
from shopfloor.people.badges import (
    pin_set,
    pin_verify,
    terminal_by_token,
    terminal_register,
    terminal_retire,
)
from shopfloor.runs.part_counts import line_counts, parts_of_run
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_has_its_handler(kind):
    assert callable(handler_of(kind))


def test_a_delivery_repeated_gives_the_first_ones_result(floor):
    item = floor.queue(floor.nest())
    key = uuid.uuid4()
    first = floor.do("start", T0, key=key, queue_item=item.pk)
    again = floor.do("start", T0, key=key, queue_item=item.pk, now=T0 + 5 * MINUTE)
    assert public_result(again) == public_result(first)
    assert Run.objects.count() == Action.objects.count() == 1


def test_a_refused_delivery_repeated_stays_refused(floor):
    key = uuid.uuid4()
    first = floor.do("finish", T0, key=key, exceptions=[])
    assert first.state == "refused"
    floor.done("start", T0 + SECOND, queue_item=floor.queue(floor.nest()).pk)
    assert floor.do("finish", T0, key=key, exceptions=[]).state == "refused"


def test_a_line_named_twice_counts_its_parts_together(floor):
    """What the sheet holds, and the same again, is twice what it holds."""
    line = floor.line(quantity=9)
    floor.done("start", T0, queue_item=floor.queue(floor.nest(lines=[line])).pk)
    held = len(parts_of_run(Run.objects.get()))
    said = {"line": line.pk, "good": held}
    refused = floor.do("finish", T0 + MINUTE, parts=[said, said])
    assert refused.result["message"] == (
        f"{2 * held} parts, those counted before among them, but the sheet holds {held}."
    )
    assert not PartResult.objects.exists()
    floor.done("finish", T0 + MINUTE, parts=[said])
    assert PartResult.objects.get().quantity == held


def test_a_refusal_leaves_nothing_half_written(floor):
    """The run's parts are written before the remnant turns out larger than its sheet."""
    line = floor.line()
    revision = floor.nest(contours=2, lines=[line])
    floor.done("start", T0, queue_item=floor.queue(revision, floor.sheet()).pk, sheet="S-1")
    action = floor.do(
        "finish", T0 + MINUTE, exceptions=[], remnant={"length_mm": 9000, "width_mm": 9000}
    )
    assert action.state == "refused"
    assert not PartResult.objects.exists()
    assert Run.objects.get().state == "open"


KEY = str(uuid.uuid4())


@pytest.mark.parametrize(
    ("envelope", "word"),
    [
        ({"kind": "note", "at": "2026-06-01T12:00:00Z"}, "id"),
        ({"id": "x", "kind": "note", "at": "2026-06-01T12:00:00Z"}, "id"),
        ({"id": str(uuid.uuid4()), "at": "2026-06-01T12:00:00Z"}, "kind"),
        ({"id": str(uuid.uuid4()), "kind": "note", "at": "2026-06-01T12:00:00"}, "offset"),
        ({"id": str(uuid.uuid4()), "kind": "note", "at": "yesterday"}, "offset"),
        ({"id": str(uuid.uuid4()), "kind": "note", "at": "2026-13-01T12:00:00Z"}, "offset"),
        ({"id": KEY, "kind": "no\ud800te", "at": "2026-06-01T12:00:00Z"}, "are not text"),
        ({"id": KEY, "kind": "note", "at": "0001-01-01T00:00:00+14:00"}, "the year 1"),
        ({"id": KEY, "kind": "note", "at": "9999-12-31T23:59:59-12:00"}, "the year 9999"),
        ({"id": KEY, "kind": "note", "at": "2026-06-01T12:00:00Z", "sent_at": "9999-01-01T00:00Z"},
         "sent_at"),
        ({"id": KEY, "kind": "note", "at": "1970-01-01T00:00:00Z"}, "before anyone signed in"),
    ],
)  # fmt: skip
def test_an_envelope_that_cannot_be_read_is_refused_whole(floor, envelope, word):
    with pytest.raises(FloorError, match=word):
        action_receive(envelope=envelope, person=floor.person, terminal=floor.terminal, now=T0)
    assert not Action.objects.exists()


@pytest.mark.parametrize(
    "value",
    ["a\0b", "\udc80", float("nan"), float("-inf"), 2**53 + 1, ["\0"], {"a": {"\ud800": 1}},
     [[[[[[[1]]]]]]]],
)  # fmt: skip
def test_what_no_database_keeps_is_refused_and_named(floor, value):
    with pytest.raises(FloorError, match="'text' holds what cannot be kept"):
        floor.do("note", T0, text=value)
    assert not Action.objects.exists()


@pytest.mark.parametrize("value", ["\u05d0", "é", 2**53, -0.5, [[1], {"a": None}], True])
def test_what_every_database_keeps_is_kept(floor, value):
    assert floor.do("note", T0, text="wet plate", more=value).payload["more"] == value


def test_a_screen_whose_clock_came_back_between_doing_and_sending_starts_nothing_long_ago(floor):
    """Entered while the clock said 2001, sent once it was right: nobody knows how long before."""
    item = floor.queue(floor.nest())
    with pytest.raises(FloorError, match="1 Jan 2001"):
        floor.do("start", T0.replace(year=2001, month=1, day=1), now=T0, queue_item=item.pk)
    assert not Run.objects.exists()


def test_a_screen_that_says_1970_all_along_is_put_right_by_its_offset(floor):
    item = floor.queue(floor.nest())
    floor.done("start", T0, queue_item=item.pk, fast_by=-timedelta(days=20000))
    assert Run.objects.get().opened_at == T0


@pytest.mark.parametrize(
    ("kind", "payload"),
    [
        ("dance", {}),
        ("start", {}),
        ("start", {"queue_item": "soon"}),
        ("start", {"queue_item": 999}),
        ("start", {"nest": ["N"]}),
        ("start", {"nest": "²"}),
        ("start", {"nest": "9" * 30}),
        ("bench", {"line": "²", "kind": "dross", "minutes": 4}),
        ("bench", {"line": "1/²", "kind": "dross", "minutes": 4}),
        ("bench", {"line": "1/1", "kind": "dross", "minutes": 4}),
        ("inspect", {"piece": "nothing"}),
        ("change_tray", {"tray": "nothing"}),
        ("give_reason", {"stoppage": 1, "reason": "x"}),
        ("stop", {"reason": "x"}),
        ("restart_at", {"contour": 2}),
        ("undo", {"action": "x"}),
    ],
)
def test_nonsense_is_refused_with_words(floor, kind, payload):
    action = floor.do(kind, T0, **payload)
    assert action.state == "refused"
    assert action.result["message"]


def test_someone_without_the_right_is_refused(floor, nobody):
    assert floor.do("note", T0, person=nobody, text="hello").state == "refused"


def test_a_deed_is_never_in_the_future(floor):
    action = floor.do("note", T0 + 9 * MINUTE, now=T0, text="clock ran away", fast_by=timedelta(0))
    assert action.at == T0


def test_a_slow_network_does_not_move_the_clock(floor):
    """Tablet 180 s ahead. A delivery 3 s under way makes it look 177 s ahead: the known 180 hold.
    A clock put right (0 s) is believed at once, as is one that is faster."""

    def offset(sent_ahead):
        action = action_receive(
            envelope={
                "id": str(uuid.uuid4()),
                "kind": "note",
                "payload": {"text": "x"},
                "at": T0.isoformat(),
                "sent_at": (T0 + timedelta(seconds=sent_ahead)).isoformat(),
            },
            person=floor.person,
            terminal=floor.terminal,
            now=T0,
        )
        return action.device_offset_ms

    assert [offset(s) for s in (180, 177, 181, 176.5, 0)] == [180_000, 180_000, 181_000, 181_000, 0]


class TestUndo:
    def undo(self, floor, action, at, **more):
        return floor.do("undo", at, action=str(action.pk), **more)

    def test_a_start_taken_back_leaves_the_queue_as_it_was(self, floor):
        item = floor.queue(floor.nest(), floor.sheet())
        action = floor.do("start", T0, queue_item=item.pk, sheet="S-1")
        floor.arcs(T0 + SECOND, [30.0])
        floor.follow()
        assert ArcAssignment.objects.count() == 1
        undone = self.undo(floor, action, T0 + MINUTE)
        assert undone.state == "applied"
        assert undone.undoes == action
        action.refresh_from_db()
        assert action.state == "undone"
        assert QueueItem.objects.get().state == "waiting"
        assert Sheet.objects.get().state == "in_stock"
        assert Run.objects.get().state == "voided"
        assert Segment.objects.get().end_reason == "undone"
        assert not ArcAssignment.objects.exists()

    def test_a_start_taken_back_gives_the_arcs_to_the_run_before(self, floor):
        one = floor.done("start", T0, queue_item=floor.queue(floor.nest("N-1")).pk)["run"]
        wrong = floor.do("start", T0 + MINUTE, queue_item=floor.queue(floor.nest("N-2")).pk)
        floor.arcs(T0 + 2 * MINUTE, [30.0])
        floor.follow()
        assert str(ArcAssignment.objects.get().segment.run_id) == wrong.result["run"]
        self.undo(floor, wrong, T0 + 3 * MINUTE)
        assert str(ArcAssignment.objects.get().segment.run_id) == one
        assert Run.objects.get(pk=one).state == "open"

    def test_a_finish_taken_back_is_answered_by_negative_rows(self, floor):
        line = floor.line(quantity=4)
        revision = floor.nest(contours=4, lines=[line])
        floor.done("start", T0, queue_item=floor.queue(revision, floor.sheet()).pk, sheet="S-1")
        action = floor.do(
            "finish", T0 + MINUTE, exceptions=[], remnant={"length_mm": 500, "width_mm": 500}
        )
        line.job.refresh_from_db()
        assert line.job.state == "closed"
        assert self.undo(floor, action, T0 + 2 * MINUTE).state == "applied"
        assert sorted(PartResult.objects.values_list("quantity", flat=True)) == [-4, 4]
        assert line_counts([line.pk])[line.pk].shortage == 4
        line.job.refresh_from_db()
        assert (line.job.state, line.job.closed_at) == ("open", None)
        run = Run.objects.get()
        assert (run.state, run.closed_at, run.segments.get().ended_at) == ("open", None, None)
        assert Sheet.objects.get().code == "S-1"

    def test_a_tray_taken_back_puts_the_old_pieces_in_again(self, floor):
        floor.tray(label="T-1")
        floor.tray(label="T-2")
        floor.done("change_tray", T0, tray="T-1")
        action = floor.do("change_tray", T0 + MINUTE, tray="T-2")
        self.undo(floor, action, T0 + 2 * MINUTE)
        held = Fitting.objects.filter(removed_at=None).values_list("piece__label", flat=True)
        assert set(held) == {"T-1-electrode", "T-1-nozzle"}
        assert set(Piece.objects.filter(state="new").values_list("label", flat=True)) == {
            "T-2-electrode",
            "T-2-nozzle",
        }

    def test_bench_minutes_taken_back_sum_to_nothing(self, floor):
        line = floor.line()
        action = floor.do("bench", T0, line=f"J-1/{line.number}", kind="dross", minutes=12)
        self.undo(floor, action, T0 + MINUTE)
        assert sorted(BenchEntry.objects.values_list("minutes", flat=True)) == [-12, 12]

    def test_it_works_once(self, floor):
        floor.tray()
        action = floor.do("inspect", T0, piece="T-1-nozzle", pit_mm=0.4)
        assert self.undo(floor, action, T0 + MINUTE).state == "applied"
        assert self.undo(floor, action, T0 + 2 * MINUTE).state == "refused"
        assert not Inspection.objects.exists()

    def test_what_something_was_built_on_stays(self, floor):
        stop = floor.do("stop", T0)
        floor.done("resume", T0 + MINUTE)
        refused = self.undo(floor, stop, T0 + 2 * MINUTE)
        assert refused.state == "refused"
        assert Stoppage.objects.get().ended_at == T0 + MINUTE
        item = floor.queue(floor.nest(), floor.sheet())
        start = floor.do("start", T0 + 3 * MINUTE, queue_item=item.pk, sheet="S-1")
        floor.done("finish", T0 + 4 * MINUTE, exceptions=[])
        refused = self.undo(floor, start, T0 + 5 * MINUTE)
        assert refused.state == "refused"
        assert "since" in refused.result["message"]
        assert Run.objects.get().state == "finished"

    def test_it_is_for_the_person_or_the_place_and_not_for_long(self, floor, supervisor):
        other, _ = terminal_register(code="t2", name="South")
        action = floor.do("stop", T0)
        assert (
            self.undo(floor, action, T0 + MINUTE, person=supervisor, terminal=other).state
            == "refused"
        )
        assert self.undo(floor, action, T0 + 12 * MINUTE).state == "refused"
        undone = self.undo(floor, action, T0 + 2 * MINUTE, person=supervisor)
        assert undone.state == "applied"
        assert not Stoppage.objects.exists()


class TestPin:
    def test_five_failures_lock_for_five_minutes_and_each_further_one_doubles(self, operator):
        for _ in range(5):
            assert not pin_verify(user=operator, pin="9999", now=T0)
        with pytest.raises(PinLocked) as locked:
            pin_verify(user=operator, pin="2468", now=T0 + timedelta(minutes=4, seconds=59))
        assert locked.value.until == T0 + 5 * MINUTE
        assert not pin_verify(user=operator, pin="9999", now=T0 + 5 * MINUTE)
        with pytest.raises(PinLocked) as locked:
            pin_verify(user=operator, pin="2468", now=T0 + 6 * MINUTE)
        assert locked.value.until == T0 + 15 * MINUTE
        assert pin_verify(user=operator, pin="2468", now=T0 + 15 * MINUTE)
        operator.refresh_from_db()
        assert (operator.pin_failures, operator.pin_locked_until) == (0, None)

    def test_the_lock_never_lasts_longer_than_four_hours(self, operator):
        now = T0
        for _ in range(40):
            assert not pin_verify(user=operator, pin="9999", now=now)
            operator.refresh_from_db()
            if operator.pin_locked_until:
                assert operator.pin_locked_until - now <= timedelta(hours=4)
                now = operator.pin_locked_until
        assert now > T0 + timedelta(hours=100)

    @pytest.mark.parametrize(
        "pin", ["123", "123456789", "abcd", "1111", "1234", "9876", "٣٤٥٦", ""]
    )
    def test_a_pin_easy_to_guess_is_refused(self, operator, pin):
        with pytest.raises(FloorError):
            pin_set(user=operator, pin=pin)

    def test_a_new_pin_ends_a_lock(self, operator):
        for _ in range(5):
            pin_verify(user=operator, pin="9999", now=T0)
        pin_set(user=operator, pin="8306")
        assert pin_verify(user=operator, pin="8306", now=T0)

    def test_a_person_without_a_pin_never_gets_in(self, operator):
        operator.pin_hash = ""
        operator.save()
        assert not pin_verify(user=operator, pin="", now=T0)


class TestTerminal:
    def test_its_token_is_kept_only_as_a_hash(self, north):
        terminal, token = terminal_register(code="n", name="North", table=north)
        assert token not in terminal.token_hash
        assert terminal_by_token(token=token, now=T0) == terminal
        assert terminal_by_token(token=terminal.token_hash, now=T0) is None
        assert terminal_by_token(token="", now=T0) is None

    def test_a_new_token_ends_the_old_one_and_retiring_ends_all(self, north):
        terminal, old = terminal_register(code="n", name="North")
        _, new = terminal_register(code="n", name="North", table=north)
        assert terminal_by_token(token=old, now=T0) is None
        terminal = terminal_by_token(token=new, now=T0)
        assert terminal.table == north
        terminal_retire(terminal=terminal)
        assert terminal_by_token(token=new, now=T0) is None
        assert terminal_by_token(token="", now=T0) is None
