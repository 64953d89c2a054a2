"""`bench life`: what pages say is left of wear parts, against what was left: in simulated shops
whose truth is known, and over the example shop's past."""

from __future__ import annotations

import json
import os
import tempfile
from typing import Any

from dashboards.bench.tomorrow import ONE_THREAD, module
from planning.bench.life import money, simulated

DAYS = 90  # of the example shop's past
SHOPS = 1000  # for each of twelve kinds
MONEY_SHOPS = 200  # for each shape
GOAL = (0.88, 0.92)


def run(*, quick: bool) -> dict[str, Any]:
    found = {
        "simulated": simulated.shops(25 if quick else SHOPS),
        "money": money.shops(4 if quick else MONEY_SHOPS),
        "example": _example(),
    }
    return found | {"missed": _missed(found)}


def _example() -> dict[str, Any]:
    with tempfile.TemporaryDirectory(prefix="kerfbook-life-") as folder:
        there = {**os.environ, **ONE_THREAD, "KERFBOOK_DATA": folder}
        there.pop("DATABASE_URL", None)
        module("dashboards.bench.making", ["small", json.dumps({"days": DAYS})], there)
        found: dict[str, Any] = json.loads(module("planning.bench.life.example", [], there))
        return found


def _missed(found: dict[str, Any]) -> list[str]:
    """Which 90 % ranges hold less or more than the goal; cells of chance are named, not judged."""
    cells = {"simulated shops": found["simulated"]["all"]} | found["example"]
    return [
        f"{name}: 90 % ranges hold {one['after']['held_90']:.1%}"
        for name, one in cells.items()
        if one["after"]["held_90"] is not None and not GOAL[0] <= one["after"]["held_90"] <= GOAL[1]
    ]


def table(answer: dict[str, Any]) -> list[str]:
    """The answer for people."""
    heads = ("pieces", "before: sooner", "ranges", "held", "after: sooner", "80 %", "90 %", "mean")
    lines = [f"{'':<28}" + "".join(f"{head:>15}" for head in heads)]
    groups = {**answer["simulated"]["cells"], "all simulated": answer["simulated"]["all"]}
    lines += [_line(name, one) for name, one in groups.items()]
    lines += ["", "example shop"]
    lines += [_line(name, one) for name, one in answer["example"].items()]
    lines += ["", "cost a start of following the advice on changes; run until it fails: 1"]
    lines += [
        f"{name:<28}{one['advice']:>15.3f}   best by the truth {one['best']:.3f}, "
        f"{one['changed_ahead']:.0%} changed ahead"
        for name, one in answer["money"].items()
    ]
    return [*lines, "", *(answer["missed"] or ["every goal is met"])]


def _line(name: str, one: dict[str, Any]) -> str:
    before, after = one["before"], one["after"]
    shares = (before["sooner"], None, before["held"], after["sooner"], after["held_80"],
              after["held_90"], one.get("mean_held_90"))  # fmt: skip
    told = ["-" if share is None else f"{share * 100:.1f}" for share in shares]
    told[1] = str(before["ranges"])
    return f"{name:<28}{one['n']:>15}" + "".join(f"{text:>15}" for text in told)
