"""Settings read from the environment, and the key that is kept beside the data."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

import pytest

from shopfloor.env import SettingError, env_bool, env_list, secret_key
from tests.processes import environment, manage


@pytest.fixture(autouse=True)
def _no_key(monkeypatch):
    monkeypatch.delenv("KERFBOOK_SECRET_KEY", raising=False)


@pytest.mark.parametrize(
    ("raw", "value"), [("1", True), ("true", True), ("FALSE", False), ("0", False), ("", True)]
)
def test_a_switch_is_on_off_or_as_it_was(monkeypatch, raw, value):
    monkeypatch.setenv("KERFBOOK_TEST", raw)
    assert env_bool("KERFBOOK_TEST", True) is value


def test_a_word_that_is_neither_is_refused_by_name(monkeypatch):
    monkeypatch.setenv("KERFBOOK_TEST", "yes")
    with pytest.raises(SettingError, match="KERFBOOK_TEST: 'yes'"):
        env_bool("KERFBOOK_TEST", False)


def test_a_list_is_split_at_commas(monkeypatch):
    monkeypatch.setenv("KERFBOOK_TEST", " a, b ,,")
    assert env_list("KERFBOOK_TEST", ["x"]) == ["a", "b"]


def test_the_key_is_made_once_for_its_owner_alone(tmp_path):
    folder = tmp_path / "new" / "data"
    key = secret_key(folder)
    assert len(key) >= 50
    assert secret_key(folder) == key
    assert (folder / "secret.key").stat().st_mode & 0o777 == 0o600
    assert os.listdir(folder) == ["secret.key"]


def test_of_many_at_once_all_have_the_same_key(tmp_path):
    with ThreadPoolExecutor(16) as threads:
        keys = list(threads.map(secret_key, [tmp_path / "own"] * 64))
    assert len(set(keys)) == 1
    assert os.listdir(tmp_path / "own") == ["secret.key"]


def test_a_folder_without_links_has_its_key_all_the_same(tmp_path, monkeypatch):
    def no_links(*paths):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    assert secret_key(tmp_path / "own") == secret_key(tmp_path / "own")
    assert os.listdir(tmp_path / "own") == ["secret.key"]


def test_an_empty_key_is_refused_and_not_used(tmp_path):
    (tmp_path / "secret.key").write_text("\n")
    with pytest.raises(SettingError, match=r"secret\.key:1: the key is empty"):
        secret_key(tmp_path)


def test_a_data_folder_that_cannot_be_is_one_line_and_status_2(tmp_path):
    (tmp_path / "a-file").write_text("")
    done = manage("status", env=environment(tmp_path / "a-file" / "data"), timeout=30)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert f"KERFBOOK_DATA: {tmp_path}/a-file/data cannot hold the data" in done.stderr
