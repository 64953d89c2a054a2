"""`bench tomorrow`: the forecasts replayed on days they had not seen, in the example shop's past
and in simulated shops whose truth is not the model's."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from typing import Any

from planning.bench.tomorrow import promised, quotes, simulated, tables
from planning.bench.tomorrow.worlds import WORLDS

LEAST_SKILL = tables.LEAST_SKILL
DAYS = 90  # of the example shop's past
# One thread: two cores are shared with whatever else runs, and these matrices are small.
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}


def run(*, quick: bool) -> dict[str, Any]:
    hours = (1.0, 6.25)
    size = {"shops": 1, "every": 6} if quick else {"shops": 6, "every": 2}
    worlds = {"example shop": _example(every=12 if quick else 1)}
    worlds |= simulated.worlds(hours=hours, **size)
    missed = [line for name, one in worlds.items() for line in tables.missed(name, one)]
    jobs = {"example shop": worlds["example shop"].pop("jobs")}
    for one in WORLDS:
        told = promised.simulated(one, shops=size["shops"], every=8 if quick else 3)
        jobs[one.name] = promised.summed(told)
    missed += [
        line for name, one in jobs.items() for line in promised.missed(name, one, LEAST_SKILL)
    ]
    sizes = quotes.answered(
        **({"shops": 1, "moments": 1} if quick else {"shops": 24, "moments": 1})
    )
    return {
        "worlds": worlds,
        "jobs": jobs,
        "quotes": sizes,
        "missed": missed + quotes.outside(sizes),
    }


def table(answer: dict[str, Any]) -> list[str]:
    """The answer for people."""
    lines = [f"{'':<26}{'ranges':>8}{'50 %':>8}{'80 %':>8}{'90 %':>8}{'end 80 %':>10}{'skill':>8}"]
    for name, one in answer["worlds"].items():
        shares = [_share(one["all"][key]) for key in ("held_50", "held_80", "held_90")]
        gained = one["promises"].get("skill")
        lines.append(
            f"{name:<26}{one['all']['n']:>8}" + "".join(f"{share:>8}" for share in shares)
            + f"{_share(one['ends']['held_80']):>10}"
            + f"{'unknown' if gained is None else format(gained, '.2f'):>8}"
        )  # fmt: skip
    example = answer["worlds"]["example shop"]
    lines += ["", "example shop, 80 % ranges by"]
    lines += [
        f"  {name:<22}{one['n']:>8}{_share(one['held_80']):>8}"
        for name, one in example["strata"].items()
    ]
    lines += ["", "promises by the end of the shift: said, done"]
    lines += [
        f"  {band['said']:.2f}  {band['done']:.2f}  of {band['n']}"
        for band in example["promises"]["bands"]
    ]
    lines += promised.words(answer["jobs"])
    lines += quotes.words(answer["quotes"])
    return [*lines, "", *(answer["missed"] or ["every goal is met"])]


def _share(value: float | None) -> str:
    return "unknown" if value is None else f"{value * 100:.1f}"


def _example(*, every: int) -> dict[str, Any]:
    with tempfile.TemporaryDirectory(prefix="kerfbook-tomorrow-") as folder:
        there = {**os.environ, **ONE_THREAD, "KERFBOOK_DATA": folder}
        there.pop("DATABASE_URL", None)
        options = json.dumps({"days": DAYS})
        module("dashboards.bench.making", ["small", options], there)
        found: dict[str, Any] = json.loads(
            module("planning.bench.tomorrow.example", [str(every)], there)
        )
        return found


def module(name: str, arguments: list[str], environment: dict[str, str]) -> str:
    made = subprocess.run(
        [sys.executable, "-m", name, *arguments],
        env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if made.returncode:
        raise RuntimeError(f"{name} failed: {made.stderr[-2000:]}")
    return made.stdout
