"""The measured half of ``bench plan``, run in a process of its own."""

from __future__ import annotations

import json
import math
import random
import re
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from time import process_time
from typing import Any

import numpy as np

from planning.calc.motion import TableMotion, move_times
from planning.calc.plan import Cutting, plan_program
from planning.calc.program import read_program

WORDS = re.compile(r"([A-Za-z])\s*([+-]?[0-9]*\.?[0-9]+)")
SPEED_MM_MIN = 2000.0
MOTION, CUTTING = TableMotion(500.0, 15_000.0), Cutting(SPEED_MM_MIN, 0.5, 1.0)
SEED = 20_251


def straight_program(blocks: int) -> str:
    """A wandering path with a torch change every 500 moves and G0 or G1 on every one."""
    chance = random.Random(SEED)  # noqa: S311 - a path, not a secret
    x = y = heading = 0.0
    lines = ["G21", "G90", "M3"]
    for number in range(1, blocks + 1):
        heading += chance.uniform(-0.5, 0.5)
        step = chance.uniform(0.2, 3.0)
        x, y = x + step * math.cos(heading), y + step * math.sin(heading)
        lines.append(f"G1 X{x:.3f} Y{y:.3f}")
        if number % 500 == 0:
            x += 5
            lines += ["M5", f"G0 X{x:.3f} Y{y:.3f}", "M3"]
    return "\n".join([*lines, "M5", "M2", ""])


def measure(*, blocks: int, turns: int) -> dict[str, Any]:
    """Best seconds of each way, and their ratios."""
    with tempfile.TemporaryDirectory(prefix="kerfbook-bench-") as folder:
        path = Path(folder) / "straight.nc"
        path.write_text(straight_program(blocks))
        read = read_program(path.read_bytes())
        speeds = np.where(read.moves.torch, SPEED_MM_MIN, MOTION.rapid_mm_min)
        ways: dict[str, Callable[[], object]] = {
            "ours": lambda: plan_program(read_program(path.read_bytes()), MOTION, CUTTING),
            "timer": lambda: move_times(read.moves, speeds, MOTION),
            "reading": lambda: read_program(path.read_bytes()),
            "floor": lambda: WORDS.findall(path.read_text()),
        }
        if find_spec("gcodeparser") is not None:
            parse = import_module("gcodeparser").parse_gcode_lines
            ways["gcodeparser"] = lambda: list(parse(path.read_text()))
        size = path.stat().st_size
        best = dict.fromkeys(ways, math.inf)
        for _ in range(turns):
            for name, way in ways.items():
                start = process_time()
                way()
                took = process_time() - start
                best[name] = min(best[name], took)
    ours, parser = best["ours"], best.get("gcodeparser")
    return {
        "blocks": read.blocks, "megabytes": size / 1e6, "seconds": {"gcodeparser": None} | best,
        "blocks_per_s": read.blocks / ours,
        "of_gcodeparser": None if parser is None else parser / ours,
        "of_floor": best["floor"] / ours, "timer_share": best["timer"] / ours,
    }  # fmt: skip


def memory(*, blocks: int) -> dict[str, Any]:
    """Peak memory of one plan over what the imports took, in MB, in a process that only plans:
    here the text was made too."""
    with tempfile.TemporaryDirectory(prefix="kerfbook-bench-") as folder:
        path = Path(folder) / "straight.nc"
        path.write_text(straight_program(blocks))
        asked = json.dumps({"path": str(path)})
        command = [sys.executable, "-m", "planning.bench.turns", "peak", asked]
        done = subprocess.run(command, stdout=subprocess.PIPE, check=True)
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


def peak(*, path: str) -> dict[str, Any]:
    plan_program(read_program(b"M3 G1 X1 F1"), MOTION, CUTTING)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    plan_program(read_program(Path(path).read_bytes()), MOTION, CUTTING)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return {"over_imports_mb": (after - before) / 1024}


if __name__ == "__main__":
    parts: dict[str, Callable[..., dict[str, Any]]] = {
        "measure": measure, "memory": memory, "peak": peak,
    }  # fmt: skip
    answer = parts[sys.argv[1]](**json.loads(sys.argv[2]))
    sys.stdout.write(json.dumps(answer))
