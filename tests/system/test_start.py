"""`start` as a newcomer runs it: real processes on SQLite, nothing else."""

from __future__ import annotations

import json
import os
import signal
import sys
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import pytest

from shopfloor.web.hosts import own_addresses
from tests.migrated import copied
from tests.processes import ROOT, environment, free_port, get, manage, running, until

pytestmark = pytest.mark.slow


def started(folder: Path, port: int, *more: str):
    command = [sys.executable, str(ROOT / "manage.py"), "start", "--port", str(port), *more]
    return running(command, environment(folder), folder.parent / "start.log")


def get_as(host: str, url: str) -> int:
    with urlopen(Request(url, headers={"Host": host}), timeout=5) as answer:
        return answer.status


def children_of(pid: int) -> list[int]:
    text = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii")
    return [int(word) for word in text.split()]


def gone(pids: list[int]) -> bool:
    """Dead, or dead and waiting for a parent that was killed."""

    def dead(pid: int) -> bool:
        try:
            return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
        except FileNotFoundError:
            return True

    return all(dead(pid) for pid in pids)


def test_an_empty_folder_becomes_a_running_shop_and_one_signal_ends_it(tmp_path):
    folder, port = tmp_path / "shop", free_port()
    with started(folder, port, "--bind", "0.0.0.0") as process:
        status, body = until(
            lambda: get(f"http://127.0.0.1:{port}/healthz", 20),
            within_s=120,
            what="healthz answers",
        )
        assert (status, json.loads(body)["status"]) == (200, "ok")
        log = tmp_path / "start.log"
        for address in own_addresses():
            named = f"[{address}]" if ":" in address else address
            if ":" not in address:  # it listens for version 4 alone
                assert get(f"http://{named}:{port}/floor/")[0] == 200
        with pytest.raises(HTTPError, match="400"):
            get_as("elsewhere.example", f"http://127.0.0.1:{port}/healthz")
        until(lambda: f"http://127.0.0.1:{port}/" in log.read_text(), within_s=20, what="address")
        assert f"below {tmp_path} (KERFBOOK_SOURCE_DIRS)" in log.read_text()
        assert "PIN" not in log.read_text()  # sign-ins are printed for a demo only
        assert (folder / "secret.key").stat().st_mode & 0o077 == 0
        children = children_of(process.pid)
        assert len(children) == 4  # web, intake, follow, worker
        second = manage("start", "--port", str(free_port()), env=environment(folder), timeout=30)
        assert second.returncode == 2
        assert "already in use" in second.stderr
        assert "starting again" not in log.read_text()  # intake waits where there is no source
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=20) == 0
        until(lambda: gone(children), within_s=5, what="children ended")


def test_a_killed_start_leaves_nothing_behind_and_a_dead_child_comes_back(tmp_path, migrated):
    folder, port = tmp_path / "shop", free_port()
    copied(migrated, folder)
    with started(folder, port) as process:
        until(
            lambda: get(f"http://127.0.0.1:{port}/healthz", 20),
            within_s=120,
            what="healthz answers",
        )
        until(lambda: len(children_of(process.pid)) == 4, within_s=10, what="four children")
        web = children_of(process.pid)[0]
        os.kill(web, signal.SIGKILL)
        until(lambda: web not in children_of(process.pid), within_s=10, what="it is noticed")
        until(lambda: get(f"http://127.0.0.1:{port}/healthz", 20), within_s=90, what="web again")
        children = children_of(process.pid)
        process.kill()
        process.wait(timeout=10)
        until(lambda: gone(children), within_s=15, what="children die with their parent")


def test_a_taken_port_and_a_demo_on_the_network_are_refused(tmp_path):
    import socket

    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        port = str(holder.getsockname()[1])
        done = manage("start", "--port", port, env=environment(tmp_path / "a"), timeout=30)
    assert done.returncode == 2
    assert port in done.stderr
    done = manage(
        "start", "--demo", "--bind", "0.0.0.0", env=environment(tmp_path / "b"), timeout=30
    )
    assert done.returncode == 2
    assert "loopback" in done.stderr
