"""Changes the code that figures rest on, one operator, comparison or constant at a time, and lists
the changes no test notices: ``python -m tests.mutants --sample 40 --seconds 150``.

It works in a copy of the tree. A sample is drawn by a seed, which is printed: the same seed and
files draw the same sample. Of mutmut and cosmic-ray neither draws a sample by a seed within a time
or keeps the imports between runs. A survivor is not always a fault: some changes change nothing.
"""

from __future__ import annotations

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.mutants.belonging import files, own_tests
from tests.mutants.changes import Change, changes
from tests.mutants.trial import Trial, preload

ROOT = Path(__file__).resolve().parents[2]


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def copied(into: Path) -> None:
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    for name in listed.stdout.splitlines():
        if (ROOT / name).is_file():
            (into / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(ROOT / name, into / name)


def drawn(only: str, sample: int, seed: int) -> dict[str, list[Change]]:
    """The sample by file."""
    every = [
        change
        for name in files(ROOT)
        if only in name
        for change in changes(name, (ROOT / name).read_bytes())
    ]
    picked = random.Random(seed).sample(every, min(sample, len(every)))
    say(f"{len(picked)} of {len(every)} changes, --seed {seed}")
    by_file: dict[str, list[Change]] = {}
    for change in picked:
        by_file.setdefault(change.path, []).append(change)
    return by_file


def main() -> int:
    asked = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    asked.add_argument("--sample", type=int, default=40)
    asked.add_argument("--seed", type=int, default=random.SystemRandom().randrange(1_000_000))
    asked.add_argument("--seconds", type=float, default=150, help="begin no change after these")
    asked.add_argument("--only", default="", help="files whose path contains this")
    given = asked.parse_args()
    until = time.monotonic() + given.seconds
    preload()
    tried, survivors, broken = 0, [], []
    with tempfile.TemporaryDirectory() as folder:
        copied(Path(folder))
        for name, own in drawn(given.only, given.sample, given.seed).items():
            if time.monotonic() > until:
                break
            trial = Trial(Path(folder), own_tests(ROOT, name))
            if not trial.unchanged():
                broken.append(name)
                continue
            for change in own:
                if time.monotonic() > until:
                    break
                tried += 1
                if not trial.noticed(change):
                    survivors.append(change)
                    say(f"not noticed: {change}")
    for name in broken:
        say(f"the tests of {name} fail as it stands")
    noticed = tried - len(survivors)
    say(f"noticed {noticed} of {tried} ({100 * noticed / max(tried, 1):.0f} %), seed {given.seed}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
