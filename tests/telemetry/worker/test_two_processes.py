"""Two processes share the work of several feeds; what is asked of the database is left out here."""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
from types import SimpleNamespace

import pytest

from telemetry.errors import SourceError
from telemetry.worker import two_processes as sidebyside
from telemetry.worker.two_processes import Group, run_in_two_processes


@pytest.fixture
def server(monkeypatch):
    closed: list[int] = []
    stand_in = SimpleNamespace(vendor="postgresql", close=lambda: closed.append(1))
    monkeypatch.setattr(sidebyside, "connection", stand_in)
    return closed


def told(amounts: list[int]):
    return lambda amount: amounts.append(amount)


def test_half_of_the_work_is_done_by_a_process_beside(server):
    amounts: list[int] = []

    def work(n, tell):
        tell(10 * n)
        return n, os.getpid()

    groups = [Group([0], 9), Group([1, 2], 5), Group([3], 3), Group([4], 1)]
    done = run_in_two_processes(work, groups, told(amounts))
    assert {n: answer[0] for n, answer in done.items()} == {n: n for n in range(5)}
    by_process = {pid: {n for n, p in done.values() if p == pid} for _, pid in done.values()}
    # 9 and 5 + 3 are the first to fall to different sides; the last goes to the smaller.
    assert sorted(map(sorted, by_process.values())) == [[0], [1, 2, 3, 4]]
    assert by_process[os.getpid()] == {0}
    assert server  # the one connection was not left open in both
    assert amounts[-1] in range(0, 101, 10)


def test_pieces_of_a_group_are_done_in_their_order_on_one_side(server):
    order: list[int] = []

    def work(n, tell):
        order.append(n)
        return list(order)

    done = run_in_two_processes(work, [Group([2, 0, 1], 3), Group([3], 9)], told([]))
    assert done[1] == [2, 0, 1]


def test_with_one_group_or_a_database_in_this_process_nothing_is_forked(server, monkeypatch):
    def work(n, tell):
        tell(5)
        return os.getpid()

    amounts: list[int] = []
    assert set(run_in_two_processes(work, [Group([0, 1], 2)], told(amounts)).values()) == {
        os.getpid()
    }
    assert amounts == [5, 10]
    monkeypatch.setattr(sidebyside.connection, "vendor", "sqlite")
    done = run_in_two_processes(work, [Group([0], 1), Group([1], 1)], told([]))
    assert set(done.values()) == {os.getpid()}
    assert not server


@pytest.mark.parametrize("faulty", [0, 1])
def test_an_error_on_either_side_is_raised_and_stops_what_has_not_begun(server, faulty, tmp_path):
    begun = tmp_path / "begun"
    begun.mkdir()

    def work(n, tell):
        (begun / str(n)).touch()
        if n == faulty:
            raise SourceError(f"{n}: no", hint="mend it")
        while not (begun / str(faulty)).exists():
            pass

    groups = [Group([0, *range(2, 500, 2)], 9), Group([1, *range(3, 500, 2)], 9)]
    with pytest.raises(SourceError) as caught:
        run_in_two_processes(work, groups, told([]))
    assert (str(caught.value), caught.value.hint) == (f"{faulty}: no", "mend it")
    numbers = {int(path.name) for path in begun.iterdir()}
    assert not {n for n in numbers if n % 2 == faulty} - {faulty}


def test_a_process_beside_that_was_killed_is_told(server):
    me = os.getpid()

    def work(n, tell):
        if os.getpid() != me:
            os.kill(os.getpid(), signal.SIGKILL)
        return n

    with pytest.raises(SourceError, match="process beside this one was ended") as caught:
        run_in_two_processes(work, [Group([0], 1), Group([1], 1)], told([]))
    assert "run it again" in caught.value.hint


@pytest.fixture
def within_ten_seconds():
    def give_up(number, frame):
        raise AssertionError("too long")  # a fault of the system would be swallowed

    before = signal.signal(signal.SIGALRM, give_up)
    signal.alarm(10)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.mark.usefixtures("within_ten_seconds")
def test_a_long_answer_that_nobody_asks_for_any_more_holds_up_nothing(server, tmp_path):
    answered = tmp_path / "answered"

    def work(n, tell):
        if n == 1:
            answered.touch()
            return b"x" * 1_000_000  # more than a pipe holds
        while not answered.exists():
            pass
        raise SourceError("no")

    with pytest.raises(SourceError, match="no"):
        run_in_two_processes(work, [Group([0], 9), Group([1], 1)], told([]))


@pytest.mark.usefixtures("within_ten_seconds")
def test_the_process_beside_ends_with_the_first_one(server, tmp_path):
    begun, outlived = tmp_path / "begun", tmp_path / "outlived"

    def first():
        me = os.getpid()

        def work(n, tell):
            if os.getpid() == me:
                while not begun.exists():
                    pass
                os.kill(me, signal.SIGKILL)
            begun.touch()
            until = time.monotonic() + 3
            while time.monotonic() < until:
                tell(1)
            outlived.touch()

        run_in_two_processes(work, [Group([0], 9), Group([1], 1)], told([]))

    ours, theirs = os.pipe()
    process = multiprocessing.get_context("fork").Process(target=first)
    process.start()
    os.close(theirs)
    process.join()
    with open(ours, "rb") as held_by_all:
        assert held_by_all.read() == b""  # once the last of them has ended
    assert process.exitcode == -signal.SIGKILL
    assert not outlived.exists()


def test_one_that_is_killed_beside_this_one_is_noticed_in_the_middle_of_a_piece(server):
    first, steps = os.getpid(), 2000

    def work(n, tell):
        if os.getpid() != first:
            os.kill(os.getpid(), signal.SIGKILL)
        for step in range(steps):
            amounts.append(step)
            tell(step)
            time.sleep(0.005)

    amounts: list[int] = []
    with pytest.raises(SourceError, match="beside this one"):
        run_in_two_processes(work, [Group([0], 1), Group([1], 1)], told([]))
    assert len(amounts) < steps
