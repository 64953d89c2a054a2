"""The command's exit status and its one line of complaint."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import ManagementUtility, call_command
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.bench.shop import FEED, make_table
from tests.processes import ROOT, environment

FEEDS = Path(__file__).parents[2] / "fixtures" / "feeds"
GOOD = FEEDS / "columns" / "feed.toml"


def complaint(*args: str | Path) -> str:
    err = StringIO()
    with pytest.raises(SystemExit) as caught:
        call_command("readfeed", *map(str, args), "--json", stdout=StringIO(), stderr=err)
    assert caught.value.code == 2
    assert err.getvalue().count("\n") == 1
    return err.getvalue().strip()


def test_missing_files_are_named(tmp_path: Path) -> None:
    assert complaint(GOOD, tmp_path / "no") == f"{tmp_path / 'no'}:1: No such file or directory"
    assert complaint(tmp_path / "f", GOOD) == f"{tmp_path / 'f'}:1: No such file or directory"
    assert complaint(GOOD, tmp_path) == f"{tmp_path}:1: Is a directory"


def test_broken_toml_names_its_line(tmp_path: Path) -> None:
    feed = tmp_path / "f.toml"
    feed.write_text('table = "n"\n\n[line\n')
    assert complaint(feed, GOOD).startswith(f"{feed}:3: ")


def test_utf_16_is_refused_by_name(tmp_path: Path) -> None:
    lines = tmp_path / "a.csv"
    lines.write_text("1,2026-03-02T16:00:00Z,ARC ON\n", encoding="utf-16")
    assert complaint(GOOD, lines) == f"{lines}:1: this is UTF-16 text, save it as UTF-8"


def test_summary_for_people_names_arcs_and_rejects() -> None:
    out = StringIO()
    case = FEEDS / "two-torches"
    call_command("readfeed", str(case / "feed.toml"), str(case / "input.csv"), stdout=out)
    text = out.getvalue()
    assert "6 lines: 5 events, 1 rejected" in text
    assert "torch B: 2026-03-02T16:02:00Z, 120.000 s, 1 pierces, ended off" in text
    assert "line 6:" in text


def test_options_are_refused_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        ManagementUtility(["manage.py", "readfeed", "--json"]).execute()
    assert caught.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == "readfeed: the following arguments are required: FEED.toml, FILE\n"


@pytest.mark.long
def test_half_a_million_lines_are_read_in_little_memory(tmp_path: Path) -> None:
    """Under 150 MB on top of the program itself, which an empty file shows."""
    script = (
        "import resource, sys\n"
        "from django.core.management import execute_from_command_line\n"
        "execute_from_command_line(['manage.py', 'readfeed', *sys.argv[1:], '--json'])\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)\n"
    )
    table = make_table("north", 500_000, 1)
    (tmp_path / "feed.toml").write_text(FEED.format(table="north", window_s=2.0))
    (tmp_path / "long.csv").write_bytes(table.text())
    (tmp_path / "empty.csv").touch()
    most = {}
    for name in ("empty.csv", "long.csv"):
        words = [sys.executable, "-c", script, str(tmp_path / "feed.toml"), str(tmp_path / name)]
        env = environment(tmp_path / "data", DJANGO_SETTINGS_MODULE="shopfloor.settings")
        done = subprocess.run(words, cwd=ROOT, env=env, capture_output=True, check=True)
        most[name] = int(done.stderr)
        shown = json.loads(done.stdout)
    assert (shown["lines"], len(shown["arcs"])) == (len(table.lines), len(table.arcs))
    assert most["long.csv"] - most["empty.csv"] < 150_000


SIGNAL_LINES = st.sampled_from(
    [b"1,2026-03-10T06:00:00,ARC ON,\n", b"2,2026-03-10T06:00:09,ARC OFF,\n", b"seq,time,signal\n"]
)
ANY_LINES = st.lists(st.one_of(SIGNAL_LINES, st.binary(max_size=60)), max_size=12).map(b"".join)
CASES = st.sampled_from(sorted(path.parent for path in FEEDS.glob("*/feed.toml")))


def outcome(feed: bytes, lines: bytes) -> tuple[dict | None, str]:
    """What `readfeed` printed, or None where it ended with status 2, and its complaint."""
    with tempfile.TemporaryDirectory() as folder:
        description, sample = Path(folder) / "f.toml", Path(folder) / "lines"
        description.write_bytes(feed)
        sample.write_bytes(lines)
        out, err, status = StringIO(), StringIO(), 0
        try:
            call_command("readfeed", description, sample, "--json", stdout=out, stderr=err)
        except SystemExit as ended:
            status = ended.code
    complaint = err.getvalue().replace(f"{folder}/", "")
    if status == 0:
        return json.loads(out.getvalue()), complaint
    assert (status, out.getvalue()) == (2, "")
    assert re.fullmatch(r"(f\.toml|lines):\d+: .+\n", complaint)
    return None, complaint


@settings(max_examples=150)
@given(CASES, ANY_LINES)
def test_any_bytes_are_read_with_counts_that_add_up_or_refused_in_one_line(case, lines) -> None:
    answer, complaint = outcome((case / "feed.toml").read_bytes(), lines)
    if answer is None:
        assert complaint.startswith("lines:")
        return
    assert complaint == ""
    assert answer["rejected"] == len(answer["rejects"])
    assert answer["events"] + answer["rejected"] + answer["duplicates"] <= answer["lines"]
    assert answer["lines"] <= lines.count(b"\n") + 1


@settings(max_examples=150)
@given(st.binary(max_size=300), st.booleans())
def test_any_bytes_for_a_description_are_taken_or_refused_in_one_line(raw, behind) -> None:
    lines = GOOD.with_name("input.csv").read_bytes()
    answer, complaint = outcome(GOOD.read_bytes() + raw if behind else raw, lines)
    assert answer or complaint.startswith("f.toml:")
