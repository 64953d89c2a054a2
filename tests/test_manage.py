"""`manage.py` where it cannot run."""

from __future__ import annotations

import subprocess
import sys

from tests.processes import ROOT, environment


def test_outside_the_environment_it_says_in_one_line_what_to_do(tmp_path):
    # -S leaves installed packages out, as another Python of the machine would.
    done = subprocess.run(
        [sys.executable, "-S", str(ROOT / "manage.py"), "start"],
        env=environment(tmp_path), capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "no package 'django'" in done.stderr
    assert "README.md" in done.stderr or ".venv/bin/python" in done.stderr
