"""Logs that other processes hold open, kept within bounds."""

from __future__ import annotations

from dashboards.logfiles import bound


def test_a_full_log_is_put_aside_and_the_writer_goes_on_in_an_empty_one(tmp_path):
    log = tmp_path / "web.log"
    with log.open("ab", buffering=0) as writer:
        for turn in range(6):
            writer.write(b"%d" % turn * 100)
            bound(log, full_bytes=100, kept=3)
        writer.write(b"last")
    assert log.read_bytes() == b"last"
    kept = {
        path.name: path.read_bytes()[:1]
        for path in tmp_path.iterdir()
        if path.name.startswith("web.log.")
    }
    assert kept == {"web.log.1": b"5", "web.log.2": b"4", "web.log.3": b"3"}


def test_a_log_with_room_or_none_at_all_is_left(tmp_path):
    log = tmp_path / "web.log"
    bound(log)
    log.write_bytes(b"few")
    bound(log, full_bytes=4)
    assert [path.name for path in tmp_path.glob("web*")] == ["web.log"]
