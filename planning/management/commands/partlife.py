"""How long a wear part lasts, and when a change pays, from a table of pieces."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable
from typing import Any

import numpy as np
from django.core.management.base import CommandParser

from planning.calc.life.costs import ChangeCosts, Extra
from planning.calc.life.pays import pays
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Life, SeenTooShort, TooLittleData, watched
from planning.calc.life.replacement import ChangeAge, of_posterior, of_weibull
from planning.calc.life.weibull import FARTHEST, fit
from planning.management.commands._figures import FigureCommand, finite

COLUMNS = ("life", "ended")
ENDED = ("failed", "planned", "running", "shelved", "collateral")
LEVEL = 0.90
FEW = 5  # ends; below that the prior says most
MEMBERS = ("shape", "shape_90", "scale", "scale_90", "mean", "b10", "change_at", "cost_rate")


class Command(FigureCommand):
    help = (
        "How long a part lasts, from a CSV with columns life (starts, or any unit), ended "
        "(failed, planned, running, shelved, collateral) and, where a piece was not new when "
        "first seen, entered_at. Only what failed by its own wear has ended."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="CSV")
        parser.add_argument("--rated", type=finite, metavar="LIFE", help="what the maker gives")
        parser.add_argument("--planned-cost", type=finite, metavar="C")
        parser.add_argument("--failure-cost", type=finite, metavar="C")
        parser.add_argument("--per-month", type=finite, metavar="LIFE", help="burnt in a month")
        parser.add_argument("--json", action="store_true", dest="as_json")

    def handle(self, *args: Any, **options: Any) -> None:
        costs = options["planned_cost"], options["failure_cost"]
        if (costs[0] is None) != (costs[1] is None):
            self.fail("partlife: give both --planned-cost and --failure-cost, or neither")
        for name, value in (
            ("--rated", options["rated"]),
            ("--planned-cost", costs[0]),
            ("--failure-cost", costs[1]),
            ("--per-month", options["per_month"]),
        ):
            if value is not None and value <= 0:
                self.fail(f"partlife: {name} must be above 0")
        lives = self._read(options["file"])
        found = answer(
            lives, options["rated"], None if costs[0] is None else costs, options["per_month"]
        )
        if options["as_json"]:
            self.print_json(found)
            return
        for line in words(found):
            print(line)

    def _read(self, name: str) -> list[Life]:
        raw = self.read_bytes(name)
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            self.fail_at(name, 1, "is not UTF-8 text")
        reader = csv.DictReader(io.StringIO(text, newline=""), skipinitialspace=True)
        try:
            missing = [column for column in COLUMNS if column not in (reader.fieldnames or ())]
            if missing:
                self.fail_at(name, 1, f"has no column {missing[0]}")
            return [self._life(name, reader.line_num, row) for row in reader]
        except csv.Error as error:
            self.fail_at(name, reader.line_num or 1, str(error))

    def _life(self, name: str, line: int, row: dict[str, Any]) -> Life:
        ended = (row["ended"] or "").strip()
        if ended not in ENDED:
            self.fail_at(name, line, f"ended is {ended!r}, not one of {', '.join(ENDED)}")
        life = self._number(name, line, row, "life")
        entered = self._number(name, line, row, "entered_at", blank=0.0)
        if life <= 0:
            self.fail_at(name, line, f"life is {life:g}, it must be above 0")
        if not 0 <= entered < life:
            self.fail_at(name, line, f"entered_at is {entered:g}, it must lie from 0 to the life")
        return Life(life, ended == "failed", entered)

    def _number(
        self, name: str, line: int, row: dict[str, Any], column: str, blank: float | None = None
    ) -> float:
        text = (row.get(column) or "").strip()
        if not text and blank is not None:
            return blank
        try:
            return finite(text)
        except ValueError:
            self.fail_at(name, line, f"{column} is {text!r}, not a number")


def answer(
    lives: list[Life],
    rated: float | None,
    costs: tuple[float, float] | None,
    per_month: float | None = None,
) -> dict[str, Any]:
    """The command's answer as JSON values; what cannot be said is None, with a note. `per_month`:
    life burnt in a month."""
    told = watched(lives)
    ends = sum(life.ended for life in told)
    found: dict[str, Any] = {"n": len(told), "failures": ends, "mle": None}
    found |= dict.fromkeys(MEMBERS) | {"advice": None}
    notes: list[str] = []
    found["notes"] = notes
    if not ends:
        notes.append("no piece failed: there is no estimate")
        return found
    try:
        best = fit(told, LEVEL)
        found["mle"] = {
            "shape": best.life.shape,
            "scale": best.life.scale,
            "log_likelihood": best.log_likelihood,
            **_change(costs, lambda planned, failed: of_weibull(best.life, planned, failed)),
        }
    except TooLittleData as why:
        notes.append(f"no best fit: {why}")
        if isinstance(why, SeenTooShort) and rated is None:
            notes.append("almost no information: no estimate")
            return found
    cloud = Posterior.of(told, rated, least=1)
    found |= _cloud(cloud) | _change(
        costs, lambda planned, failed: of_posterior(cloud, planned, failed), whole=False
    )
    found["advice"] = None if costs is None else _advice(cloud, costs, per_month)
    if ends < FEW:
        notes.append(f"{ends} failed: what is assumed beforehand says most")
    if rated is None:
        notes.append("no rated life: mean life is taken to be anything")
    return found


def _cloud(cloud: Posterior) -> dict[str, Any]:
    ages = np.geomspace(cloud.mean / 1e4, cloud.mean * FARTHEST, 4000)
    b10 = float(np.interp(0.1, 1 - cloud.survival(ages), ages))
    return {
        "shape": cloud.shape_between(0.0)[0],
        "shape_90": list(cloud.shape_between(LEVEL)),
        "scale": cloud.scale_between(0.0)[0],
        "scale_90": list(cloud.scale_between(LEVEL)),
        "mean": cloud.mean,
        "b10": b10,
    }


def _change(
    costs: tuple[float, float] | None,
    of: Callable[[float, float], ChangeAge],
    *,
    whole: bool = True,
) -> dict[str, float | None]:
    """When a change pays, and what a unit of life costs; `whole`: and without planned changes."""
    keys = ("change_at", "cost_rate", "run_to_failure_rate")[: 3 if whole else 2]
    if costs is None:
        return dict.fromkeys(keys)
    found = of(*costs)
    values = (found.age, found.cost, found.to_the_end)
    return {
        key: value if value is not None and math.isfinite(value) else None
        for key, value in zip(keys, values, strict=False)
    }


def _advice(
    cloud: Posterior, costs: tuple[float, float], per_month: float | None
) -> dict[str, Any]:
    """Whether a change ahead pays, and what it saves against running until it fails: a unit of life
    and, where that is told, a month. `verdict`: pays, unsure, never, thin (too few failed)."""
    planned, failed = (Extra(0.0, 0.0, one, 0.0, 0.0, one, one, 0, "typed") for one in costs)
    told = pays(cloud, ChangeCosts(0.0, failed, planned))
    rate = (told.saved, told.saved_low, told.saved_high)
    month = [None if per_month is None else one * per_month for one in rate]
    known = told.age is not None
    return {
        "verdict": told.verdict,
        "as_good": [told.low, told.high] if known else None,
        "chance": told.chance if known else None,
        "saves_rate": rate[0] if known else None,
        "saves_rate_90": list(rate[1:]) if known else None,
        "saves_month": month[0] if known else None,
        "saves_month_90": month[1:] if known and per_month is not None else None,
    }


def _advice_words(found: dict[str, Any]) -> str:
    advice, at = found["advice"], found["change_at"]
    if at is None or advice["verdict"] == "never":
        return "when it fails: a change ahead never pays"
    rate = f"at {at:.0f}, {found['cost_rate']:.4g} a unit of life"
    if advice["verdict"] == "thin":
        return f"{rate}; too few failed to advise it"
    what = "month" if advice["saves_month"] is not None else "rate"
    low, high = advice[f"saves_{what}_90"]
    unit = "a month" if what == "month" else "a unit of life"
    saves = (
        f"saves {advice[f'saves_{what}']:.4g} {unit} (90 in 100: {low:.4g} to {high:.4g}) "
        "against running until it fails"
    )
    if advice["verdict"] == "unsure":
        return f"{rate}; not sure that it pays, {advice['chance']:.0%} by the data: {saves}"
    return f"{rate}: {saves}"


def words(found: dict[str, Any]) -> list[str]:
    """The answer for people."""
    lines = [f"pieces       {found['n']}, {found['failures']} failed"]
    if found["mean"] is not None:
        low, high = found["scale_90"]
        lines += [
            f"mean life    {found['mean']:.0f}",
            f"scale        {found['scale']:.0f} (90 in 100: {low:.0f} to {high:.0f})",
            f"shape        {found['shape']:.2f} (90 in 100: {found['shape_90'][0]:.2f} to "
            f"{found['shape_90'][1]:.2f})",
            f"B10          {found['b10']:.0f}",
        ]
        if found["cost_rate"] is not None:
            lines.append(f"change       {_advice_words(found)}")
    if found["mle"]:
        lines.append(f"best fit     {found['mle']['shape']:.4f}, {found['mle']['scale']:.4f}")
    return lines + [f"note         {note}" for note in found["notes"]]
