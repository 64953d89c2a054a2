"""How long a wear part lasts, and when a change pays, from a table of pieces."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable
from typing import Any

import numpy as np
from django.core.management.base import CommandParser

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
        parser.add_argument("--json", action="store_true", dest="as_json")

    def handle(self, *args: Any, **options: Any) -> None:
        costs = options["planned_cost"], options["failure_cost"]
        if (costs[0] is None) != (costs[1] is None):
            self.fail("partlife: give both --planned-cost and --failure-cost, or neither")
        for name, value in (("--rated", options["rated"]), ("--planned-cost", costs[0]),
                            ("--failure-cost", costs[1])):  # fmt: skip
            if value is not None and value <= 0:
                self.fail(f"partlife: {name} must be above 0")
        lives = self._read(options["file"])
        found = answer(lives, options["rated"], None if costs[0] is None else costs)
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
    lives: list[Life], rated: float | None, costs: tuple[float, float] | None
) -> dict[str, Any]:
    """The command's answer as JSON values; what cannot be said is None, with a note."""
    told = watched(lives)
    ends = sum(life.ended for life in told)
    found: dict[str, Any] = {"n": len(told), "failures": ends, "mle": None}
    found |= dict.fromkeys(MEMBERS)
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
            at = found["change_at"]
            lines.append(
                "change       when it fails: a change ahead never pays"
                if at is None
                else f"change       at {at:.0f}, {found['cost_rate']:.4g} a unit of life"
            )
    if found["mle"]:
        lines.append(f"best fit     {found['mle']['shape']:.4f}, {found['mle']['scale']:.4f}")
    return lines + [f"note         {note}" for note in found["notes"]]
