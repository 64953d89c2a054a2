from __future__ import annotations

import json
import subprocess
import sys

import pytest

from tests.processes import ROOT, environment

MOST_MB = 12  # a single object kept for each line would take 36 MB and more


@pytest.mark.long
def test_memory_stays_flat_between_200_000_and_800_000_lines(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "tests.telemetry.memory", "800000", "small"],
        cwd=ROOT, env=environment(tmp_path), capture_output=True, check=True, text=True,
    )  # fmt: skip
    *samples, last = [json.loads(line) for line in done.stdout.splitlines()]
    # One line in 1,000 is none.
    assert last == {"stored": 799_200, "of": 800_000}
    early = max(s["mb"] for s in samples if s["lines"] <= 300_000)
    late = max(s["mb"] for s in samples if s["lines"] > 300_000)
    assert samples[-1]["lines"] == 800_000
    assert late - early < MOST_MB, samples
