"""The data folder is its owner's alone, also one made before it was so."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from telemetry import privacy
from tests.processes import ROOT, environment, manage


def modes(folder: Path) -> dict[str, int]:
    found = [folder, *folder.rglob("*")]
    return {str(path.relative_to(folder)): path.lstat().st_mode & 0o777 for path in found}


@pytest.fixture
def older(tmp_path) -> Path:
    """A folder as it was made before: open to all."""
    folder = tmp_path / "shop"
    for name in ("journal/north", "files", "logs", "uploads"):
        (folder / name).mkdir(parents=True)
    for name in ("kerfbook.sqlite3", "kerfbook.sqlite3-wal", "secret.key", "logs/web.log",
                 "journal/north/1.journal", "uploads/abc"):  # fmt: skip
        (folder / name).write_text("x")
    for path in [folder, *folder.rglob("*")]:
        path.chmod(0o755 if path.is_dir() else 0o644)
    return folder


def test_an_older_folder_is_closed_and_that_is_said_once(older):
    (said,) = privacy.protect(older)
    assert "others could read it" in said
    assert set(modes(older).values()) == {0o700, 0o600}
    assert all((older / name).is_dir() == (mode == 0o700) for name, mode in modes(older).items())
    assert privacy.protect(older) == []


def test_a_folder_that_holds_other_things_keeps_its_own_rights_and_theirs(older):
    (older / "photos").mkdir()
    (older / "photos").chmod(0o755)
    (older / "run.sh").write_text("")
    (older / "run.sh").chmod(0o755)
    said = privacy.protect(older)
    assert "other files" in said[0]
    after = modes(older)
    assert (after["."], after["photos"], after["run.sh"]) == (0o755, 0o755, 0o755)
    assert (after["secret.key"], after["journal/north/1.journal"]) == (0o600, 0o600)


def test_a_folder_for_all_of_the_machine_is_left(older):
    older.chmod(0o1777)
    assert "other files" in privacy.protect(older)[0]
    assert older.stat().st_mode & 0o1777 == 0o1777


def test_where_rights_cannot_be_changed_it_is_said_and_goes_on(older, monkeypatch):
    monkeypatch.setattr(Path, "chmod", lambda *_: None)  # as a file system without rights does
    (said,) = privacy.protect(older)
    assert "does not let that be changed" in said

    def refuses(*_):
        raise PermissionError

    monkeypatch.setattr(Path, "chmod", refuses)
    assert privacy.protect(older) == [said]


def test_a_link_s_target_elsewhere_is_left(older, tmp_path):
    other = tmp_path / "other"
    other.write_text("x")
    other.chmod(0o644)
    (older / "files" / "link").symlink_to(other)
    privacy.protect(older)
    assert other.stat().st_mode & 0o777 == 0o644


def test_what_every_command_makes_is_private_from_the_start(tmp_path):
    folder = tmp_path / "new"
    code = "import os, subprocess, sys; os.umask(0o022); sys.exit(subprocess.call(sys.argv[1:]))"
    words = [sys.executable, str(ROOT / "manage.py"), "intake", "--once"]
    done = subprocess.run([sys.executable, "-c", code, *words], env=environment(folder),
                          capture_output=True, text=True, timeout=300, check=False)  # fmt: skip
    assert (folder / "kerfbook.sqlite3").exists(), done.stderr
    assert [name for name, mode in modes(folder).items() if mode & 0o077] == []


def test_a_collector_s_folder_is_closed_too(older, tmp_path):
    feed = ROOT / "fixtures" / "feeds"
    description = next(feed.rglob("feed.toml"))
    (tmp_path / "token").write_text("x")
    manage("collect", str(description), "--to", "https://127.0.0.1:9/intake/x/", "--once",
           "--token-file", str(tmp_path / "token"), env=environment(older))  # fmt: skip
    assert older.stat().st_mode & 0o777 == 0o700
    assert os.stat(older / "secret.key").st_mode & 0o777 == 0o600
