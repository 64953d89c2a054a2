"""Many journals made durable by one call for the file system they lie on."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from telemetry.feeds.base import Chunk
from telemetry.journal import Kind, disk, read
from telemetry.journal.disk import Disk
from telemetry.services import feed_register
from telemetry.worker.rounds import write_together
from telemetry.worker.runner import Runner
from tests.telemetry.table_lines import feed_text

MOUNTS = """\
22 1 254:0 / / rw,relatime shared:1 - ext4 /dev/vda rw
23 22 0:21 / /proc rw,nosuid - proc proc rw
31 22 0:44 / /srv/over rw - overlay overlay rw,lowerdir=/a
32 22 8:17 /data /srv/data rw master:2 propagate_from:3 - xfs /dev/sdb1 rw
"""


class Calls:
    """In place of the system's call: notes what it was asked, and fails when told to."""

    def __init__(self) -> None:
        self.count, self.fails, self.takes_s, self.now_s = 0, False, 0.0, 100.0

    def __call__(self, descriptor: int) -> int:
        os.fstat(descriptor)
        self.count += 1
        self.now_s += self.takes_s
        return -1 if self.fails else 0


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> Calls:
    made = Calls()
    monkeypatch.setattr(disk, "_kind", lambda device: "ext4")
    monkeypatch.setattr(disk, "_call", lambda: made)
    monkeypatch.setattr(disk.time, "monotonic", lambda: made.now_s)
    monkeypatch.setattr(disk.ctypes, "get_errno", lambda: 5)
    return made


@pytest.fixture
def runners(db):
    text = feed_text("x").replace('kind = "csv_file"\npath = "x"', 'kind = "push"')
    made = [Runner(feed_register(name=f"t{n}", text=text, by="test")) for n in range(9)]
    for runner in made:
        runner.prepare()
    yield made
    for runner in made:
        runner.end()


def hear(runners: list[Runner], at: int) -> None:
    for runner in runners:
        runner._put(Chunk(Kind.DATA, {"source": "live", "at": at}, b"a line\n"))


def test_a_mount_says_what_kind_of_file_system_a_device_is(monkeypatch) -> None:
    monkeypatch.setattr(Path, "read_text", lambda path: MOUNTS)
    kinds = [disk._kind(os.makedev(*pair)) for pair in ((254, 0), (0, 44), (8, 17), (8, 18))]
    assert kinds == ["ext4", "overlay", "xfs", ""]


@pytest.mark.parametrize(
    ("release", "version"),
    [("6.18.44-fc-v769", (6, 18)), ("5.8.0", (5, 8)), ("4.19-rc3", (4, 19)), ("5.8rc1-x", (5, 8))],
)
def test_the_systems_version_is_read_from_its_name(release, version) -> None:
    assert disk._version(release) == version


def test_only_many_files_of_one_known_file_system_are_taken_at_once(calls, tmp_path, monkeypatch):
    whole = Disk(tmp_path)
    assert whole.takes([whole.device] * 8)
    assert not whole.takes([whole.device] * 7)
    assert not whole.takes([whole.device] * 8 + [whole.device + 1])
    whole.close()
    for kind in ("overlay", "fuse", "nfs4", ""):
        monkeypatch.setattr(disk, "_kind", lambda device, kind=kind: kind)
        other = Disk(tmp_path)
        assert not other.takes([other.device] * 8)
        with pytest.raises(OSError, match="as a whole"):
            other.sync()
        other.close()


def test_a_disk_with_much_else_to_write_is_left_alone_for_longer_and_longer(calls, tmp_path):
    whole = Disk(tmp_path)
    takes = [whole.device] * 8
    calls.takes_s = 0.020
    whole.sync()
    assert whole.takes(takes)
    calls.takes_s = 0.030
    for again_s in (0.5, 1.0, 2.0, 4.0, 8.0, 10.0, 10.0):
        whole.sync()
        calls.now_s += again_s - 0.01
        assert not whole.takes(takes)
        calls.now_s += 0.02
        assert whole.takes(takes)
    calls.takes_s = 0.020
    whole.sync()
    assert whole.takes(takes)
    calls.takes_s = 0.030
    whole.sync()
    calls.now_s += 0.51
    assert whole.takes(takes)
    whole.close()


def test_all_are_durable_by_one_call_and_none_before_it(calls, runners, tmp_path, monkeypatch):
    whole = Disk(runners[0].writer._folder)
    before = [runner.writer.durable.sequence for runner in runners]
    hear(runners, 0)
    refuse = monkeypatch.context()
    with refuse as patch:
        patch.setattr(os, "fdatasync", lambda descriptor: pytest.fail("a call for one file"))
        write_together(runners, whole)
    assert calls.count == 1
    assert [runner.writer.durable.sequence for runner in runners] == [n + 1 for n in before]
    whole.close()


def test_where_it_fails_nothing_is_durable_and_all_of_it_goes_to_new_segments(calls, runners):
    whole = Disk(runners[0].writer._folder)
    before = [runner.writer.durable for runner in runners]
    hear(runners, 0)
    calls.fails = True
    write_together(runners, whole)
    assert [runner.writer.durable.sequence for runner in runners] == [p.sequence for p in before]
    assert all("Input/output error" in runner.journal_fault for runner in runners)
    calls.fails = False
    write_together(runners, whole)
    for runner, was in zip(runners, before, strict=True):
        assert runner.journal_fault == ""
        assert runner.writer.durable.segment == was.segment + 1
        found = [item for item, _ in read(runner.writer._folder, was)]
        assert [(item.sequence, item.body) for item in found] == [(was.sequence, b"a line\n")]
    whole.close()


def test_the_systems_own_call_answers_and_tells_faults_or_is_not_asked(tmp_path) -> None:
    """Linux from 5.8 on has one that tells them (syncfs(2)); nothing else is to be asked."""
    tells = sys.platform == "linux" and disk._version(os.uname().release) >= (5, 8)
    call = disk._call()
    assert (call is not None) == tells
    descriptor = os.open(tmp_path, os.O_RDONLY)
    answer = call(descriptor) if call else 0
    os.close(descriptor)
    assert answer == 0
    assert (call(descriptor) if call else -1) == -1  # it is closed now


@pytest.mark.parametrize(("platform", "release"), [("linux", "5.7.19"), ("darwin", "23.1.0")])
def test_a_system_that_keeps_quiet_about_faults_is_never_asked(monkeypatch, platform, release):
    told = SimpleNamespace(release=release)
    monkeypatch.setattr(disk.sys, "platform", platform)
    monkeypatch.setattr(disk.os, "uname", lambda: told)
    assert disk._call() is None


def test_a_shop_without_a_source_has_its_folder_made(tmp_path):
    made = Disk(tmp_path / "journal")
    made.close()
    assert (tmp_path / "journal").is_dir()
