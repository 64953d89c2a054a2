"""A few rounds of `bench kill`; a thousand are `manage.py bench kill --rounds 1000`."""

from __future__ import annotations

import json

import pytest

from tests.processes import environment, manage
from tests.servers import postgres

pytestmark = pytest.mark.long


def held(env) -> None:
    done = manage("bench", "kill", "--rounds", "5", "--json", env=env, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr
    answer = json.loads(done.stdout)
    assert answer["rounds"] == 5
    for name in ("file", "port"):
        row = answer[name]
        assert 0 < row["on_disk"] <= row["stored"] <= row["sent"]
        assert (row["missing"], row["doubled"], row["strange"]) == (0, 0, 0)
    assert answer["file"]["on_disk"] == answer["file"]["stored"] == answer["file"]["sent"]
    assert answer["file"]["arcs"] == answer["file"]["burns"] > 0


def test_killed_again_and_again_every_line_of_a_file_and_a_port_is_stored_once(tmp_path):
    held(environment(tmp_path))


@pytest.mark.served
def test_the_same_on_postgresql(tmp_path):
    with postgres() as url:
        held(environment(tmp_path, DATABASE_URL=url))


def test_the_count_finds_what_is_missing_doubled_and_strange(db):
    from telemetry.bench.kill import _counted
    from telemetry.models import Event
    from telemetry.services import feed_register
    from tests.telemetry.table_lines import feed_text

    feed = feed_register(name="port", text=feed_text("x"), by="test")
    for n, seq in enumerate([1, 2, 2, 9]):
        Event.objects.create(
            feed=feed, key=bytes([n]) * 16, at_us=seq, seq=seq, torch="1", kind=3, stamp="",
            received_us=seq, feed_version=1,
        )  # fmt: skip
    assert _counted("port", {1, 2, 3}, {1, 3}) == {
        "sent": 3, "on_disk": 2, "stored": 3, "missing": 1, "doubled": 1, "strange": 1,
    }  # fmt: skip
