"""Every folder of fixtures/feeds, decoded through the command and held against its expectation."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from telemetry.description import read_description
from telemetry.events import REASONS
from telemetry.sample import as_json, decode_sample

FEEDS = Path(__file__).parents[2] / "fixtures" / "feeds"
CASES = sorted(path.name for path in FEEDS.iterdir() if (path / "feed.toml").exists())


def _input(case: str) -> Path:
    (found,) = (FEEDS / case).glob("input.*")
    return found


def _expected(case: str) -> dict[str, object]:
    expected = json.loads((FEEDS / case / "expected.json").read_text())
    rejects = (FEEDS / case / "rejects.jsonl").read_text().splitlines()
    return {**expected, "rejects": [json.loads(line) for line in rejects]}


@pytest.mark.parametrize("case", CASES)
def test_case_decodes_as_worked_by_hand(case: str) -> None:
    out = StringIO()
    call_command("readfeed", FEEDS / case / "feed.toml", str(_input(case)), json=True, stdout=out)
    found = json.loads(out.getvalue())
    for reject in found["rejects"]:
        assert reject["reason"] in REASONS
        del reject["message"]
    assert found == _expected(case)


@pytest.mark.parametrize("case", CASES)
def test_case_reads_the_same_a_byte_at_a_time(case: str) -> None:
    description = read_description(FEEDS / case / "feed.toml")
    raw = _input(case).read_bytes()
    whole = decode_sample(description, [raw])
    single = decode_sample(description, (raw[i : i + 1] for i in range(len(raw))))
    assert as_json(single, description) == as_json(whole, description)
    assert single.events == whole.events


@pytest.mark.parametrize("case", CASES)
def test_lines_of_a_case_are_all_accounted_for(case: str) -> None:
    expected = _expected(case)
    aside = expected["rejected"] + expected["duplicates"]
    if case.startswith("level"):  # most polls are no event, and one can be several
        edges = sum(1 if arc["ended"] == "open" else 2 for arc in expected["arcs"])
        assert edges + aside <= expected["lines"]
    else:
        assert expected["events"] + aside == expected["lines"]
