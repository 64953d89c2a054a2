"""`bench life`: what pages say is left of wear parts, against what was left, and how often failures
are called more than chance: in simulated shops whose truth is known, and over the example shop's
past."""

from __future__ import annotations

import json
import os
import tempfile
from typing import Any

from dashboards.bench.tomorrow import ONE_THREAD, module
from planning.bench.life import air, money, simulated

DAYS = 90  # of the example shop's past
SHOPS = 1000  # for each of twelve kinds
MONEY_SHOPS = 200  # for each shape
YEARS = 40  # of looking at failures, for each of four kinds
GOAL = (0.88, 0.92)


def run(*, quick: bool) -> dict[str, Any]:
    example = _example()
    found = {
        "simulated": simulated.shops(25 if quick else SHOPS),
        "money": money.shops(4 if quick else MONEY_SHOPS),
        "example": example["pieces"],
        "failures": {"simulated": air.score(2 if quick else YEARS), "example": example["failures"]},
    }
    return found | {"missed": [*_missed(found), *_cried_wolf(found["failures"])]}


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


def _cried_wolf(found: dict[str, Any]) -> list[str]:
    """Worlds in which nothing was wrong and too many years had something called."""
    return [
        f"{world}: called more than chance in {one['called']:.0%} of years"
        for world, one in found["simulated"].items()
        if world != air.HALVED and one["called"] > air.RARE
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
    lines += [
        "",
        f"{'failures, years of looking':<28}{'called':>15}{'after days':>15}{'seen/expected':>15}",
    ]
    lines += [_world(*one) for one in answer["failures"]["simulated"].items()]
    told = answer["failures"]["example"]
    lines.append(
        f"{'example shop':<28}{'no' if told['called'] is None else 'yes':>15}{'':>15}"
        f"{told['seen'] / told['expected'] if told['expected'] else 0:>15.2f}"
    )
    return [*lines, "", *(answer["missed"] or ["every goal is met"])]


def _world(name: str, one: dict[str, Any]) -> str:
    days = "-" if one["days"] is None else f"{one['days']:.0f}"
    return f"{name:<28}{one['called']:>15.1%}{days:>15}{one['ratio']:>15.2f}"


def _line(name: str, one: dict[str, Any]) -> str:
    before, after = one["before"], one["after"]
    shares = (before["sooner"], None, before["held"], after["sooner"], after["held_80"],
              after["held_90"], one.get("mean_held_90"))  # fmt: skip
    told = ["-" if share is None else f"{share * 100:.1f}" for share in shares]
    told[1] = str(before["ranges"])
    return f"{name:<28}{one['n']:>15}" + "".join(f"{text:>15}" for text in told)
