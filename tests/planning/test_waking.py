"""A worker is woken once a transaction, and nobody waits for a broker that is away."""

from __future__ import annotations

import contextlib
import socket
import threading
import time

import pytest
from django.db import transaction

from shopfloor.background import waking
from shopfloor.background.request import request_work
from shopfloor.celery import app
from shopfloor.models import Work


@pytest.fixture(autouse=True)
def sent(monkeypatch):
    """What was sent, in place of a broker; and no memory of an earlier failure."""
    monkeypatch.setattr(waking, "_quiet_until", 0.0)
    monkeypatch.setattr(waking, "_trying", None)
    monkeypatch.setattr(waking, "_here", threading.local())
    found = []

    def send_task(name, args, **_):
        found.append((name, args))

    monkeypatch.setattr(app, "send_task", send_task)
    return found


@pytest.mark.django_db(transaction=True)
def test_the_rows_of_one_transaction_are_one_message(sent):
    with transaction.atomic():
        for key in range(40):
            request_work(kind="nest", key=str(key))
        assert sent == []
    ids = list(Work.objects.order_by("pk").values_list("pk", flat=True))
    assert sent == [("kerfbook.wake", [ids])]
    request_work(kind="run", key="a")
    assert sent[1:] == [("kerfbook.work", [Work.objects.latest("pk").pk])]


@pytest.mark.django_db(transaction=True)
def test_what_was_rolled_back_wakes_nobody(sent):
    with contextlib.suppress(ZeroDivisionError), transaction.atomic():
        request_work(kind="nest", key="1")
        raise ZeroDivisionError
    assert sent == []


def test_after_a_failure_there_is_no_try_for_a_while(monkeypatch, caplog):
    tries = []

    def away(*args, **_):
        tries.append(args)
        raise OSError("refused")

    monkeypatch.setattr(app, "send_task", away)
    assert [waking.wake([1]) for _ in range(50)] == [False] * 50
    assert len(tries) == 1
    assert caplog.text.count("waits for the sweep") == 1
    monkeypatch.setattr(waking, "QUIET_S", 0.0)
    monkeypatch.setattr(waking, "_quiet_until", 0.0)
    waking.wake([1])
    assert len(tries) == 2


def test_a_broker_that_hangs_holds_nobody_up_and_is_asked_by_one_alone(monkeypatch):
    gone_on, tries = threading.Event(), []

    def hangs(*args, **_):
        tries.append(args)
        gone_on.wait(20)

    monkeypatch.setattr(app, "send_task", hangs)
    began = time.monotonic()
    assert not waking.wake([1])
    monkeypatch.setattr(waking, "_quiet_until", 0.0)
    assert not waking.wake([2])
    assert time.monotonic() - began < 2 * waking.WAIT_S
    gone_on.set()
    assert len(tries) == 1


@pytest.mark.django_db(transaction=True)
def test_a_rate_s_worth_of_rows_is_saved_at_once_while_redis_is_away(monkeypatch):
    """By the program's own client: nobody listens there, or somebody who says nothing."""
    from celery import Celery

    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        for port in (9, silent.getsockname()[1]):
            served = Celery("served", broker=f"redis://127.0.0.1:{port}/0", set_as_current=False)
            served.conf.broker_transport_options = {"socket_timeout": 3}
            monkeypatch.setattr(waking, "current_app", served)
            monkeypatch.setattr(waking, "_quiet_until", 0.0)
            monkeypatch.setattr(waking, "_trying", None)
            began = time.monotonic()
            for key in range(60):  # a transaction each, where the broker was asked sixty times
                request_work(kind="nest", key=f"{port}-{key}")
            took_s = time.monotonic() - began
            assert took_s < 5, f"{took_s:.1f} s"  # 143 s when each row asked
            served.close()
    assert Work.objects.filter(state="waiting").count() == 120
