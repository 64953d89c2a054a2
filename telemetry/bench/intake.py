"""`bench intake`: a file to events, arcs and rollups, against what the database alone takes."""

from __future__ import annotations

from statistics import median
from typing import Any

from telemetry.bench.apart import apart

# work: (reach at least, aim for), as ratios to the base
GOALS = {
    "postgresql": {
        "events only": (0.55, 0.75),
        "half there": (0.35, 0.42),
        "all there": (0.55, 0.65),
        "arcs and rollups": (0.35, 0.50),
    },
    "sqlite": {"arcs and rollups": (0.40, 0.60)},
}
BULK_CREATE = (6.0, 10.0)
LIVE = {"one feed": (1.3, 1.1), "100 feeds": (1.5, 1.3)}
CAPACITY = (20.0, 60.0)


def run(*, quick: bool, part: str = "") -> dict[str, Any]:
    """All of it; `quick` measures a fifth of the rows twice in place of all five times. What of
    live intake cannot be measured says why in `failed`, by its part: the rest took an hour. `part`
    "live" measures live intake alone."""
    size = {"rows": 100_000, "times": 2} if quick else {"rows": 500_000, "times": 5}
    stored = {} if part == "live" else apart("telemetry.bench.filed", size)
    live = _live(4 if quick else 15)
    parts = (*LIVE, "capacity")
    failed = {part: live[part]["failed"] for part in parts if "failed" in live[part]}
    return {
        **stored, "live": live, "goals": _goals(stored, live), "failed": failed, "met": not failed,
    }  # fmt: skip


def _live(seconds: int) -> dict[str, Any]:
    try:
        return apart("telemetry.bench.live", {"seconds": seconds})
    except RuntimeError as ended:
        return {part: {"failed": str(ended)} for part in (*LIVE, "capacity")}


def _goals(stored: dict[str, Any], live: dict[str, Any]) -> list[dict[str, Any]]:
    return [*(_stored_goals(stored) if stored else []), *_live_goals(live)]


def _stored_goals(stored: dict[str, Any]) -> list[dict[str, Any]]:
    goals = []
    wanted = GOALS[stored["database"]]
    for case, figures in stored["cases"].items():
        if case == "bulk_create":
            continue
        least, aim = wanted.get(case, (None, None))
        goals.append(_goal(f"backfill, {case} / base", figures["ratio"]["median"], least, aim))
    ours = stored["cases"]["events only"]["ratio"]["median"]
    theirs = stored["cases"]["bulk_create"]["ratio"]["median"]
    goals.append(_goal("events only / Django bulk_create", round(ours / theirs, 2), *BULK_CREATE))
    return goals


def _live_goals(live: dict[str, Any]) -> list[dict[str, Any]]:
    goals = []
    for case, limits in LIVE.items():
        p99 = live[case].get("p99_windows")
        goals.append(_goal(f"live, {case}: p99 / commit window", p99, *limits))
    ratio = live["capacity"].get("ratio")
    goals.append(_goal("live capacity / pyserial readline", ratio, *CAPACITY))
    return goals


def _goal(work: str, ours: float | None, least: float | None, aim: float | None) -> dict[str, Any]:
    """`ours` is None where it could not be measured: then it is neither met nor missed."""
    below = "p99" in work  # latencies are to stay below
    met = None
    if least is not None and ours is not None:
        met = ours <= least if below else ours >= least
    return {"work": work, "ours": ours, "at_least": least, "aim_for": aim, "met": met}


def spread(values: list[float], digits: int = 3) -> dict[str, float]:
    """Median, least and most."""
    return {
        "median": round(median(values), digits),
        "least": round(min(values), digits),
        "most": round(max(values), digits),
    }


def table(answer: dict[str, Any]) -> list[str]:
    """The answer for people."""
    lines = _stored_lines(answer) if "rows" in answer else []
    lines += ["", f"{'goal':<44}{'ours':>9}{'at least':>10}{'aim for':>9}"]
    for goal in answer["goals"]:
        least = "-" if goal["at_least"] is None else f"{goal['at_least']:g}"
        aim = "-" if goal["aim_for"] is None else f"{goal['aim_for']:g}"
        mark = {True: "  met", False: "  missed", None: ""}[goal["met"]]
        ours = "unknown" if goal["ours"] is None else f"{goal['ours']:.3f}"
        lines.append(f"{goal['work']:<44}{ours:>9}{least:>10}{aim:>9}{mark}")
    lines += [f"{part} could not be measured: {why}" for part, why in answer["failed"].items()]
    return lines


def _stored_lines(answer: dict[str, Any]) -> list[str]:
    lines = [
        f"{answer['rows']} rows of {answer['feeds']} feeds on {answer['database']}, "
        f"{answer['kept']} of {answer['repetitions']} repetitions kept"
        + ("" if answer["quiet"] else " (none was quiet: all are shown)"),
        f"base: {answer['base_rows_per_s']['median']:,.0f} rows/s ({answer['base']})",
        "",
        f"{'case':<24}{'median':>9}{'least':>9}{'most':>9}{'rows/s':>12}{'CPU us/row':>12}",
    ]
    for case, figures in answer["cases"].items():
        ratio = figures["ratio"]
        lines.append(
            f"{case:<24}{ratio['median']:>9.3f}{ratio['least']:>9.3f}{ratio['most']:>9.3f}"
            f"{figures['rows_per_s']['median']:>12,.0f}{figures['cpu_us_per_row']['median']:>12.2f}"
        )
    return lines
