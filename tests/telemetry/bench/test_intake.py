"""What `bench intake` says when a part of it cannot be measured: all else, and why."""

from __future__ import annotations

import pytest
import serial

from telemetry.bench import intake, live

STORED = {
    "rows": 100_000, "feeds": 4, "database": "sqlite", "kept": 2, "repetitions": 2, "quiet": True,
    "base": "executemany", "base_rows_per_s": {"median": 250_000.0},
    "cases": {
        case: {
            "ratio": {"median": ratio, "least": ratio, "most": ratio},
            "rows_per_s": {"median": 1.0}, "cpu_us_per_row": {"median": 1.0},
        }
        for case, ratio in (("events only", 0.8), ("bulk_create", 0.1), ("arcs and rollups", 0.5))
    },
}  # fmt: skip
FEED = {"p99_windows": 1.1}
GONE = "device reports readiness to read but returned no data"


def measured(monkeypatch, live_part):
    def apart(module, _options):
        return STORED if module.endswith("filed") else live_part()

    monkeypatch.setattr(intake, "apart", apart)
    answer = intake.run(quick=True)
    return answer, " ".join("\n".join(intake.table(answer)).split())


def test_a_reference_that_failed_leaves_the_other_figures_and_its_reason(monkeypatch):
    capacity = {"lines_per_s": 90_000, "failed": f"pyserial's readline: {GONE}"}
    answer, said = measured(
        monkeypatch, lambda: {"one feed": FEED, "100 feeds": FEED, "capacity": capacity}
    )
    assert answer["met"] is False
    assert answer["failed"] == {"capacity": capacity["failed"]}
    assert "arcs and rollups / base 0.500" in said
    assert f"capacity could not be measured: pyserial's readline: {GONE}" in said
    goals = {goal["work"]: goal for goal in answer["goals"]}
    assert goals["live, 100 feeds: p99 / commit window"]["met"] is True
    assert goals["live capacity / pyserial readline"]["met"] is None


def test_a_live_part_that_ended_leaves_what_was_stored(monkeypatch):
    def ended():
        raise RuntimeError("telemetry.bench.live ended with status -9")

    answer, said = measured(monkeypatch, ended)
    assert set(answer["failed"]) == {"one feed", "100 feeds", "capacity"}
    assert "arcs and rollups / base 0.500" in said
    assert said.count("ended with status -9") == 3


def test_with_nothing_failed_it_is_met(monkeypatch):
    answer, said = measured(
        monkeypatch, lambda: {"one feed": FEED, "100 feeds": FEED, "capacity": {"ratio": 70.0}}
    )
    assert (answer["met"], answer["failed"]) == (True, {})
    assert "could not be measured" not in said


def test_a_part_of_live_intake_that_fails_stops_no_other(monkeypatch):
    def latency(count, *_sizes):
        if count == 1:
            raise AssertionError("the ports were not opened within a minute")
        return FEED

    monkeypatch.setattr(live, "ensure_database", lambda: None)
    monkeypatch.setattr(live, "_latency", latency)
    monkeypatch.setattr(live, "_capacity", lambda count: {"ratio": 70.0})
    answer = live.measure(4)
    assert answer["one feed"]["failed"].endswith("the ports were not opened within a minute")
    assert (answer["100 feeds"], answer["capacity"]) == (FEED, {"ratio": 70.0})


@pytest.mark.parametrize("failures", [0, 1, 2])
def test_the_reference_is_tried_again(monkeypatch, failures):
    left = [serial.SerialException(GONE)] * failures

    def readline(_count):
        if left:
            raise left.pop()
        return 1_400.0

    monkeypatch.setattr(live, "_readline", readline)
    assert live._reference(10) == 1_400.0


def test_a_reference_that_never_works_says_so(monkeypatch):
    def readline(_count):
        raise serial.SerialException(GONE)

    monkeypatch.setattr(live, "_readline", readline)
    with pytest.raises(OSError, match="returned no data"):
        live._reference(10)


def test_the_reference_reads_its_lines_and_ends_its_sender_where_reading_fails(monkeypatch):
    assert live._readline(50) > 0
    begun = []
    sender = live._sender
    monkeypatch.setattr(live, "_sender", lambda *how: begun.append(sender(*how)) or begun[-1])

    def gone(_port):
        raise serial.SerialException(GONE)

    monkeypatch.setattr(serial.Serial, "readline", gone)
    with pytest.raises(serial.SerialException):
        live._readline(200_000)  # more than a pseudo-terminal holds unread
    assert begun[0].returncode is not None


def test_live_alone_stores_no_files(monkeypatch):
    def apart(module, _options):
        assert module == "telemetry.bench.live"
        return {"one feed": FEED, "100 feeds": FEED, "capacity": {"ratio": 70.0}}

    monkeypatch.setattr(intake, "apart", apart)
    answer = intake.run(quick=True, part="live")
    assert [goal["met"] for goal in answer["goals"]] == [True, True, True]
    assert "live, one feed: p99 / commit window" in "\n".join(intake.table(answer))
