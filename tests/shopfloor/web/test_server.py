"""The web server's limits, with an application of three lines in this process."""

from __future__ import annotations

import contextlib
import http.client
import os
import signal
import socket
import subprocess
import sys
import threading
import time

import pytest
from waitress import wasyncore

from shopfloor.web import server as limits
from tests.processes import ROOT, free_port, until
from tests.slow_clients import BODY, HEAD, ended, held, reading

BIG = 8 * 1024 * 1024


def application(environ, start_response):
    if environ["PATH_INFO"] == "/fails":
        raise RuntimeError("a secret of the program")
    size = BIG if environ["PATH_INFO"] == "/big" else 2
    start_response("200 OK", [("Content-Length", str(size))])
    return [b"x" * size]


@contextlib.contextmanager
def serving(threads=2):
    made = limits.server(application, "127.0.0.1", 0, threads)
    thread = threading.Thread(target=made.run)
    thread.start()
    try:
        yield int(made.effective_port)
    finally:
        # A signal ends it in a process of its own; here its loop is left with nothing to look at.
        open_ones = dict(made._map)

        def end():
            for channel in list(made.active_channels.values()):
                channel.handle_close()
            made._map.clear()

        made.trigger.pull_trigger(end)
        thread.join(10)
        assert not thread.is_alive()
        made.task_dispatcher.shutdown(timeout=1)
        wasyncore.close_all(open_ones)


def answer(port, method="GET", path="/", body=None, headers=None):
    asking = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    with contextlib.closing(asking):
        asking.request(method, path, body=body, headers=headers or {})
        got = asking.getresponse()
        return got.status, got.read().decode()


@pytest.fixture
def quick(monkeypatch):
    """Limits a test can wait for."""
    monkeypatch.setattr(limits, "HEAD_S", 0.2)
    monkeypatch.setattr(limits, "BODY_S", 0.2)
    monkeypatch.setattr(limits, "LOOK_S", 0)


@pytest.mark.parametrize("sent", [HEAD, BODY], ids=["head", "body"])
@pytest.mark.usefixtures("quick")
def test_a_request_that_trickles_in_is_ended(sent):
    with serving() as port, held(port, 3, sent) as slow:
        for _ in range(4):  # a byte now and then keeps no connection open
            time.sleep(0.1)
            for one in slow:
                with contextlib.suppress(OSError):
                    one.sendall(b"x")
        assert all(ended(one) for one in slow)
        assert answer(port)[0] == 200


def test_more_slow_readers_than_threads_hold_up_nobody():
    with serving(threads=2) as port, held(port, 6, reading("/big")):
        assert answer(port) == (200, "xx")


def test_an_answer_nobody_takes_is_dropped(monkeypatch):
    monkeypatch.setattr(limits, "BODY_S", 0.5)
    monkeypatch.setattr(limits, "LOOK_S", 1)
    with serving() as port, held(port, 1, reading("/big")) as (one,):
        time.sleep(4)
        got = 0
        with contextlib.suppress(OSError):
            while part := one.recv(65536):
                got += len(part)
        assert 0 < got < BIG


def test_one_connection_too_many_closes_the_one_that_waited_longest(monkeypatch):
    monkeypatch.setattr(limits, "CONNECTIONS", 5)
    with serving() as port, held(port, 5, HEAD) as first:
        time.sleep(0.2)
        with held(port, 1, HEAD) as (last,):
            assert ended(first[0])
            first[4].settimeout(0.3)
            last.settimeout(0.3)
            assert not ended(first[4])
            assert not ended(last)


def test_too_long_a_head_or_body_is_refused_in_words():
    with serving() as port:
        status, said = answer(port, headers={"X-Long": "x" * limits.HEAD_BYTES})
        assert (status, "header" in said.lower()) == (431, True)
        with socket.create_connection(("127.0.0.1", port), timeout=10) as one:
            length = limits.BODY_BYTES + 1
            one.sendall(f"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: {length}\r\n\r\n".encode())
            assert b" 413 " in one.recv(65536)


def test_half_sent_uploads_fill_no_disk(monkeypatch):
    """Three of 600 KB are under way and 1.5 MB may be held: the one that began first ends."""
    monkeypatch.setattr(limits, "HELD_BYTES", 1_500_000)
    head = b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 700000\r\n\r\n"
    with serving() as port, contextlib.ExitStack() as stack:
        slow = []
        for _ in range(3):
            slow += stack.enter_context(held(port, 1, head + b"x" * 600_000))
            time.sleep(0.1)
        assert ended(slow[0])
        for one in slow[1:]:
            one.settimeout(10)
            one.sendall(b"x" * 100_000)
            assert b" 200 " in one.recv(65536)
        assert answer(port)[0] == 200


def test_the_longest_program_the_shop_accepts_passes():
    from shopfloor.nests.services import MAX_PROGRAM_BYTES

    assert limits.BODY_BYTES > MAX_PROGRAM_BYTES + 1024 * 1024
    with serving() as port:
        assert answer(port, "POST", body=b"x" * (limits.BODY_BYTES // 2))[0] == 200


@pytest.mark.parametrize(
    "sent",
    [b"NONSENSE\r\n\r\n", b"GET / HTTP/9\r\n\r\n", b"POST / HTTP/1.1\r\nContent-Length: x\r\n\r\n",
     b"GET / HTTP/1.1\r\nA b: c\r\n\r\n"],
)  # fmt: skip
def test_what_is_no_request_is_refused(sent):
    with serving() as port, socket.create_connection(("127.0.0.1", port), timeout=10) as one:
        one.sendall(sent)
        assert one.recv(65536).split()[1] in {b"400", b"505"}


def test_a_fault_of_the_application_tells_the_browser_nothing_of_itself():
    with serving() as port:
        status, said = answer(port, path="/fails")
        assert status == 500
        assert "secret" not in said
        assert answer(port)[0] == 200


SLOW_PAGE = """
import sys, time
sys.path.insert(0, {root!r})
from shopfloor.web.server import serve
def application(environ, start_response):
    print("asked", flush=True)
    time.sleep(1)
    start_response("200 OK", [("Content-Length", "4")])
    return [b"done"]
serve(application, "127.0.0.1", {port}, 2)
"""


def test_what_is_being_answered_when_the_server_is_stopped_is_answered():
    port = free_port()
    code = SLOW_PAGE.format(root=str(ROOT), port=port)
    env = {**os.environ, "DJANGO_SETTINGS_MODULE": "shopfloor.settings"}
    with subprocess.Popen(
        [sys.executable, "-c", code], env=env, stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            one = until(
                lambda: socket.create_connection(("127.0.0.1", port), timeout=10),
                within_s=30,
                what="it listens",
            )
            with one:
                one.sendall(reading("/"))
                assert process.stdout.readline() == "asked\n"
                process.send_signal(signal.SIGTERM)
                got = b""
                while part := one.recv(65536):
                    got += part
            assert got.endswith(b"done")
            assert process.wait(timeout=10) == 0
        finally:
            process.kill()
