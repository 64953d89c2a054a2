"""The collector as a process of its own beside a running server, both killed at any instant."""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db.models import Max

from telemetry.models import Event
from tests.migrated import copied, working_on
from tests.processes import ROOT, environment, free_port, get, manage, manage_json, until
from tests.telemetry.table_lines import feed_text, simulate
from tests.telemetry.worker.test_worker import SAME, Port, sample_of, serial_text

pytestmark = pytest.mark.slow


class Both:
    """A shop's server with intake, and a collector's machine with nothing but a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.shop = environment(folder / "shop")
        self.beside = environment(folder / "beside", DATABASE_URL="postgres://nowhere:1/none")
        (folder / "beside").mkdir()
        self.port = free_port()
        self.token = folder / "token"
        self.description = folder / "feed.toml"

    def register(self, text: str) -> None:
        path = self.folder / "p.toml"
        path.write_text(text)
        told = manage_json("addfeed", "p", str(path), "--token", env=self.shop)
        self.token.write_text(told["token"] + "\n")

    @property
    def words(self) -> list[str]:
        url = f"http://127.0.0.1:{self.port}/intake/p/"
        return ["collect", str(self.description), "--to", url, "--token-file", str(self.token)]

    def collector(self) -> subprocess.Popen:
        return self._start([sys.executable, str(ROOT / "manage.py"), *self.words], self.beside)

    def web(self) -> subprocess.Popen:
        (self.folder / "shop" / "static").mkdir(exist_ok=True)
        words = [str(ROOT / "manage.py"), "web", "--port", str(self.port), "--threads", "4"]
        return self._start([sys.executable, *words], self.shop)

    def intake(self) -> subprocess.Popen:
        return self._start([sys.executable, str(ROOT / "manage.py"), "intake", "p"], self.shop)

    def _start(self, command: list[str], env: dict[str, str]) -> subprocess.Popen:
        with (self.folder / "log").open("ab") as log:
            return subprocess.Popen(
                command, env=env, cwd=ROOT, stdout=log, stderr=log, start_new_session=True
            )

    def up(self) -> bool:
        return get(f"http://127.0.0.1:{self.port}/healthz")[0] == 200

    def status(self) -> dict:
        return manage_json("intake", "p", "--once", env=self.shop)["feeds"][0]


@pytest.fixture
def both(tmp_path, migrated) -> Both:
    copied(migrated, tmp_path / "shop")
    return Both(tmp_path)


@contextlib.contextmanager
def killed(process: subprocess.Popen) -> Iterator[subprocess.Popen]:
    try:
        yield process
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)  # the server's own workers too
        process.wait()


def pushed(text: str) -> str:
    head, _, rest = text.partition("[source]")
    return f'{head}[source]\nkind = "push"\n[line]{rest.partition("[line]")[2]}'


@pytest.mark.long
def test_both_ends_killed_at_any_instant_a_file_arrives_once_and_whole(both, tmp_path):
    path = tmp_path / "t.csv"
    path.touch()
    text = feed_text(path)
    both.description.write_text(text)
    both.register(pushed(text))
    lines, chance, at = simulate(21, 6000), random.Random(21), 0
    for turn in range(8):
        with contextlib.ExitStack() as stack:
            if turn != 3:  # once there is no server at all
                stack.enter_context(killed(both.web()))
                stack.enter_context(killed(both.intake()))
                until(both.up, within_s=90, what="the server")
            stack.enter_context(killed(both.collector()))
            stop = time.monotonic() + 1.5 + chance.uniform(0, 1.5)
            while time.monotonic() < stop:
                count = chance.randint(1, 20)
                raw = "".join(x.text(numbered=True) + "\n" for x in lines[at : at + count])
                with path.open("a") as file:
                    file.write(raw[: (cut := chance.randrange(len(raw) + 1))])
                    file.flush()
                    file.write(raw[cut:])
                at += count
                time.sleep(chance.uniform(0, 0.03))
    assert at > 300
    with killed(both.web()):
        until(both.up, within_s=90, what="the server")
        done = manage_json(*both.words, "--once", env=both.beside)
        assert done["waiting"] == 0
        assert manage_json(*both.words, "--once", env=both.beside)["sent"] == 0
    status = both.status()
    expected = sample_of(text, path.read_bytes())
    assert {name: status[name] for name in SAME} == {name: expected[name] for name in SAME}
    assert manage("rebuild", env=both.shop).returncode == 0
    again = both.status()
    assert {name: again[name] for name in SAME} == {name: expected[name] for name in SAME}


def test_a_port_is_heard_without_network_and_its_lines_arrive_later_as_they_came(
    both, tmp_path, django_db_blocker
):
    port = Port(tmp_path / "port")
    text = serial_text(str(port.link))
    both.description.write_text(text)
    both.register(pushed(text))
    lines = simulate(22, 400)
    with killed(both.collector()) as collector:
        until(lambda: b"source open" in (tmp_path / "log").read_bytes(), within_s=20, what="port")
        for start in range(0, 400, 20):
            part = lines[start : start + 20]
            port.send("".join(x.text(numbered=True) + "\n" for x in part))
            time.sleep(0.05)
        heard_us = time.time_ns() // 1000
        assert b"records wait here" in (tmp_path / "log").read_bytes()
        with killed(both.web()):
            until(both.up, within_s=90, what="the server")
            until(lambda: both.status()["lines"] == 400, within_s=60, what="all lines")
        collector.send_signal(signal.SIGTERM)
        assert collector.wait(timeout=15) == 0
    with django_db_blocker.unblock(), working_on(tmp_path / "shop"):
        latest = Event.objects.aggregate(latest=Max("received_us"))["latest"]
    assert latest <= heard_us


def test_once_without_a_server_keeps_what_it_read_and_says_so_in_one_line(both, tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("".join(x.text(numbered=True) + "\n" for x in simulate(1, 50)))
    both.description.write_text(feed_text(path))
    both.token.write_text("secret\n")
    done = manage(*both.words, "--once", env=both.beside)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert "refused" in done.stderr
    assert (tmp_path / "beside" / "collect" / "p" / "journal").exists()
    assert not list((tmp_path / "beside").glob("*.sqlite3"))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda words, tmp: [*words[:3], "ftp://x/intake/p/", *words[4:]], "no http or https"),
        (lambda words, tmp: [*words[:5], str(tmp / "none")], "No such file"),
        (lambda words, tmp: [*words, "--ca", str(tmp / "feed.toml")], "ca"),
        (lambda words, tmp: ["collect", str(tmp / "none.toml"), *words[2:]], "none.toml:1: "),
    ],
)
def test_wrong_options_are_one_line_and_status_2(both, tmp_path, change, said):
    both.description.write_text(feed_text(tmp_path / "t.csv"))
    both.token.write_text("secret")
    done = manage(*change(both.words, tmp_path), "--once", env=both.beside)
    assert (done.returncode, len(done.stderr.strip().splitlines())) == (2, 1), done.stderr
    if said != "ca":
        assert said in done.stderr


def test_a_second_collector_on_one_folder_refuses(both, tmp_path):
    path = tmp_path / "t.csv"
    path.touch()
    both.description.write_text(feed_text(path))
    both.token.write_text("secret")
    with killed(both.collector()):
        until(lambda: (tmp_path / "beside/collect/p/collector").exists(), within_s=20, what="it")
        done = manage(*both.words, "--once", env=both.beside)
    assert done.returncode == 2
    assert "already being read by process" in done.stderr


def test_https_with_a_certificate_nobody_vouches_for_is_refused(both, tmp_path):
    """A certificate made on the spot: refused unless it is given as the one to trust."""
    import http.server
    import ssl
    import threading

    key, certificate = tmp_path / "key.pem", tmp_path / "cert.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", str(key), "-out",
         str(certificate), "-days", "2", "-subj", "/CN=localhost",
         "-addext", "subjectAltName=DNS:localhost"],
        check=True, capture_output=True,
    )  # fmt: skip

    class Answer(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            body = json.dumps({"next": 1}).encode()
            self.send_response(200)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *args) -> None:
            """Silent."""

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Answer)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    path = tmp_path / "t.csv"
    path.touch()
    both.description.write_text(feed_text(path))
    both.token.write_text("secret")
    url = f"https://localhost:{server.server_address[1]}/intake/p/"
    words = [*both.words[:3], url, *both.words[4:], "--once"]
    try:
        done = manage(*words, env=both.beside)
        assert done.returncode == 2
        assert "certificate" in done.stderr
        trusted = manage(*words, "--ca", str(certificate), env=both.beside)
        assert trusted.returncode == 0, trusted.stderr
    finally:
        server.shutdown()
        server.server_close()
