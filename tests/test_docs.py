"""What the pages for readers promise is there: commands, settings, kinds of feed, the layout."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from django.core.management import get_commands, load_command_class

from telemetry.feeds import FEEDS

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
ROOMS = {"shopfloor", "telemetry", "planning", "dashboards"}
TOP = {
    *ROOMS,
    "README.md",
    "DEVELOPERS.md",
    "manage.py",
    "pyproject.toml",
    "requirements.lock",
    "LICENSE",
    "tests",
    "fixtures",
    "docker",
}
# Started by `start --demo` for the invented shop alone.
PRIVATE = {"simulate"}


def tracked() -> list[str]:
    found = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return found.stdout.splitlines()


def test_every_command_of_ours_is_in_the_readme():
    ours = {name for name, app in get_commands().items() if app in ROOMS} - PRIVATE
    missing = sorted(name for name in ours if not re.search(rf"`{name}\b", README))
    assert not missing


def test_every_command_named_on_a_page_in_help_or_in_a_log_is_there():
    """Written `manage.py NAME`, or on a page alone as code."""
    known = set(get_commands())
    named: dict[str, set[str]] = {}
    for name in tracked():
        if name.split("/")[0] not in {*ROOMS, "docker", "README.md", "DEVELOPERS.md"}:
            continue
        if not name.endswith((".py", ".html", ".md", ".yml", ".sh", ".txt", ".toml", "Dockerfile")):
            continue
        text = (ROOT / name).read_text(encoding="utf-8")
        words = re.findall(r"manage\.py ([a-z][a-z_]+)(?: +--([a-z-]+))?", text)
        if name.endswith(".html"):
            words += re.findall(r"<code>([a-z_]+)(?: +--([a-z-]+)[^<]*)?</code>", text)
        named[name] = {f"{word} --{option}" if option else word for word, option in words}
    every = set().union(*named.values())
    assert {"start", "restore", "rebuild --dry-run"} <= every  # it does find them
    wrong = {name: words for name, words in named.items() if words - _there(every, known)}
    assert not wrong


def _there(named: set[str], known: set[str]) -> set[str]:
    """Those of `named` whose command, and its option, are known."""
    found = set()
    for each in named:
        command, _, option = each.partition(" ")
        if command not in known:
            continue
        app = get_commands()[command]
        parser = load_command_class(app, command).create_parser("manage.py", command)
        options = {text for action in parser._actions for text in action.option_strings}
        if not option or option in options:
            found.add(each)
    return found


def test_every_setting_read_from_the_environment_is_listed_in_settings():
    text = "\n".join(
        path.read_text(encoding="utf-8")
        for room in ROOMS
        for path in (ROOT / room).rglob("*.py")
        if "demo" not in path.parts
    )
    read = set(re.findall(r"\"(KERFBOOK_[A-Z_]+)\"", text)) | {"DATABASE_URL", "REDIS_URL"}
    docstring = (ROOT / "shopfloor" / "settings.py").read_text(encoding="utf-8").split('"""')[1]
    assert not sorted(name for name in read if name not in docstring)


@pytest.mark.parametrize("kind", sorted(FEEDS))
def test_every_kind_of_feed_has_its_row(kind):
    assert f"| `{kind}` |" in DEVELOPERS


def test_the_top_level_is_the_layout():
    shown = {name.split("/")[0] for name in tracked()}
    assert {name for name in shown if not name.startswith(".")} == TOP


@pytest.mark.parametrize("name", ["requirements.lock", "tests/requirements.lock"])
def test_the_locks_have_hashes_and_no_host(name):
    text = (ROOT / name).read_text(encoding="utf-8")
    assert "://" not in text
    pins = re.findall(r"^[a-z0-9][^\n=]*==", text, flags=re.M)
    blocks = re.split(r"\n(?=[a-z0-9])", text)
    assert len(pins) == len(blocks) > 20
    assert all("--hash=sha256:" in block for block in blocks)


def test_what_runs_is_in_the_tests_lock_at_the_same_version():
    def pins(name: str) -> dict[str, str]:
        text = (ROOT / name).read_text(encoding="utf-8")
        return dict(re.findall(r"^([a-z0-9._-]+)(?:\[[^\]]*\])?==([^ \\]+)", text, flags=re.M))

    run, test = pins("requirements.lock"), pins("tests/requirements.lock")
    assert {name: version for name, version in run.items() if test.get(name) != version} == {}


def test_the_readme_has_the_two_commands():
    lines = [line.strip() for line in README.splitlines() if line.startswith("    python3 -m venv")]
    assert len(lines) == 2
    assert lines[0].endswith("manage.py start --demo")
    assert "pytest" in lines[1]
