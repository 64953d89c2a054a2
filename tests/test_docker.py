"""What the image is built from: the program, and none of the secrets beside it."""

from __future__ import annotations

import re
import subprocess

import pytest

from tests.processes import ROOT


def pattern(rule: str) -> re.Pattern[str]:
    """As the builder reads a line: from the context's root, `*` within a folder, `**` over any,
    and with a folder all that is in it."""
    parts = {"**/": "(?:.*/)?", "*": "[^/]*"}
    text = "".join(parts.get(word, re.escape(word)) for word in re.split(r"(\*\*/|\*)", rule))
    return re.compile(f"{text}(?:/.*)?")


def enters(path: str) -> bool:
    """The last line that names it decides."""
    found = True
    for line in (ROOT / ".dockerignore").read_text().splitlines():
        rule = line.strip()
        if rule and not rule.startswith("#") and pattern(rule.removeprefix("!")).fullmatch(path):
            found = rule.startswith("!")
    return found


@pytest.mark.parametrize(
    "path",
    [".env", "docker/.env", "shopfloor/.env", ".env.production", ".data/secret.key", ".git/config",
     ".venv/bin/python", ".data/kerfbook.sqlite3", "backup.kerfbook", "notes.txt", "dump.sql",
     "telemetry/__pycache__/x.pyc", "tests/conftest.py", ".shots/one.png"],
)  # fmt: skip
def test_what_is_no_part_of_the_program_stays_out_of_the_image(path):
    assert not enters(path)


def test_the_program_itself_enters_whole():
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode:
        pytest.skip("not a git checkout: nothing says which files are the program's")
    rooms = ("shopfloor/", "telemetry/", "planning/", "dashboards/")
    ours = [path for path in listed.stdout.splitlines() if path.startswith(rooms)]
    assert len(ours) > 100
    assert [path for path in ours if not enters(path)] == []
    assert enters("requirements.lock")
    assert enters("manage.py")


def test_the_dockerfile_copies_through_the_ignore_file_alone():
    text = (ROOT / "docker" / "Dockerfile").read_text()
    assert "ADD " not in text
    assert re.findall(r"^COPY (.*)$", text, re.M) == ["requirements.lock ./", ". ."]
