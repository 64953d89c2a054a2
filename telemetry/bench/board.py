"""`bench board`: what a page of thirteen months costs from the sums kept, and from raw events."""

from __future__ import annotations

from typing import Any

from telemetry.bench.apart import apart

YEAR_PAGE = (1 / 40, 1 / 70)
TODAY = (1.5, 1.1)


def run(*, quick: bool) -> dict[str, Any]:
    """Ten million events as two million arcs over 13 months; `quick` a tenth of all that."""
    arcs = 200_000 if quick else 2_000_000
    answer = apart("telemetry.bench.history", {"arcs": arcs, "times": 3 if quick else 5})
    goals = (
        ("13-month page / the same from raw events", answer["months"]["ratio"], YEAR_PAGE),
        ("today, ten times the history / one", answer["today"]["ratio"], TODAY),
    )
    answer["goals"] = [
        {"work": work, "ours": ours, "at_most": most, "aim_for": aim, "met": ours <= most}
        for work, ours, (most, aim) in goals
    ]
    return answer


def table(answer: dict[str, Any]) -> list[str]:
    """The answer for people."""
    months, today = answer["months"], answer["today"]
    lines = [
        f"{answer['events']:,} events, {answer['arcs']:,} arcs, {answer['days']} days on "
        f"{answer['database']}",
        f"all of it by table: {months['ours_ms']:.1f} ms from sums, "
        f"{months['arcs_ms']:.0f} ms from arcs, {months['events_ms']:.0f} ms from events",
        f"today: {today['one_ms']:.2f} ms with one history, {today['ten_ms']:.2f} ms with ten",
        "",
        f"{'goal':<44}{'ours':>9}{'at most':>10}{'aim for':>9}",
    ]
    for goal in answer["goals"]:
        lines.append(
            f"{goal['work']:<44}{goal['ours']:>9.4f}{goal['at_most']:>10.4f}{goal['aim_for']:>9.4f}"
            + ("  met" if goal["met"] else "  missed")
        )
    return lines
