"""`bench plan`: a whole plan of a long program against a public parser and against the floor.

The floor is reading the file and one regular expression's ``findall`` over it. Every block has its
G1, since ``gcodeparser`` drops bare axis words without a word. Seconds are of the processor, each
the best of several turns taken in alternation, so that a busy machine slows all of them alike.
Recognition of parts is scored by ``planning.bench.alike``.
"""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

from planning.bench import alike

OF_PARSER, OF_FLOOR, TIMER_SHARE, MEMORY_MB, LARGE_MB = 8.0, 0.7, 0.15, 100.0, 700.0


def run(*, quick: bool) -> dict[str, Any]:
    """200,000 blocks, a tenth of them with ``quick``. A reference that is not installed is null."""
    options = {"blocks": 20_000 if quick else 200_000, "turns": 3 if quick else 7}
    answer: dict[str, Any] = _apart("measure", options)
    answer["memory_mb"] = _apart("memory", {"blocks": options["blocks"]})["over_imports_mb"]
    if not quick:
        answer["large_mb"] = _apart("memory", {"blocks": 2_000_000})["over_imports_mb"]
    answer["recognition"] = alike.run(quick=quick)
    answer["goals"] = [
        _goal("whole plan / gcodeparser", answer["of_gcodeparser"], at_least=OF_PARSER),
        _goal("whole plan / the floor", answer["of_floor"], at_least=OF_FLOOR),
        _goal("timer's share of it", answer["timer_share"], at_most=TIMER_SHARE),
        _goal("memory over imports, MB", answer["memory_mb"], at_most=MEMORY_MB),
        _goal("the same of 2 million, MB", answer.get("large_mb"), at_most=LARGE_MB),
        _goal("near parts taken for same", answer["recognition"]["false"], at_most=0),
        _goal("same parts not known again", answer["recognition"]["missed"], at_most=0),
    ]
    return answer


def table(answer: dict[str, Any]) -> list[str]:
    """The answer for people."""
    lines = [f"{answer['blocks']:,} blocks, G1 on every line, {answer['megabytes']:.1f} MB", ""]
    for name in ("ours", "reading", "timer", "gcodeparser", "floor"):
        took = answer["seconds"][name]
        rate = "not installed" if took is None else f"{answer['blocks'] / took:>12,.0f} blocks/s"
        lines.append(f"{name:<14}{rate}")
    known = answer["recognition"]
    lines += [
        "",
        f"{known['pairs']:,} pairs of parts, {known['changed']:,} of them changed a little: "
        f"{known['offered']:,} offered as near; {known['ms_each']:.0f} ms a pair",
        "",
    ]
    for goal in answer["goals"]:
        bound = f"at least {goal['at_least']:g}" if "at_least" in goal else ""
        bound = bound or f"at most {goal['at_most']:g}"
        value = "unknown" if goal["ours"] is None else f"{goal['ours']:.2f}"
        met = {True: "met", False: "not met", None: "unknown"}[goal["met"]]
        lines.append(f"{goal['work']:<28}{value:>9}  {bound:<14}{met}")
    return lines


def _goal(work: str, ours: float | None, **bound: float) -> dict[str, Any]:
    met = None
    if ours is not None:
        met = bound.get("at_least", ours) <= ours <= bound.get("at_most", ours)
    return {"work": work, "ours": ours, **bound, "met": met}


def _apart(what: str, options: dict[str, Any]) -> dict[str, Any]:
    """The answer of ``planning.bench.turns`` in a process of its own, without Django in it."""
    done = subprocess.run(
        [sys.executable, "-m", "planning.bench.turns", what, json.dumps(options)],
        stdout=subprocess.PIPE, check=True,
    )  # fmt: skip
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer
