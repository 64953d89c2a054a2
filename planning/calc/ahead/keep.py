"""A fit as bytes and names, to be kept, and back. Arrays are kept in single precision: a fit is
some hundred draws, whose own error is a thousand times that of the rounding."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from io import BytesIO
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from planning.calc.ahead.fit import Fit
from planning.calc.ahead.records import Step
from planning.calc.ahead.stops import StopRate
from planning.calc.ahead.urn import Guess, Urn

Floats = NDArray[np.float64]

MODEL: Final = 2  # count up whenever a kept fit would mean something else
ARRAYS: Final = (
    "level", "slope", "drift", "cell_sd", "nest_sd", "cell", "nest", "sigma", "power", "freedom",
    "errors", "day", "day_cov",
)  # fmt: skip
NUMBERS: Final = ("mean_plan_s", "week", "cuts")


def kept(fit: Fit, day_key: Callable[[int], int | None]) -> tuple[bytes, dict[str, Any]]:
    """The fit's arrays as an npz, and its names as JSON values. `day_key` gives what a table-day
    is known by later, None for one that need not be known."""
    arrays = {name: np.asarray(getattr(fit, name), dtype=np.float32) for name in ARRAYS}
    urns = {**{f"urn_{step}": urn for step, urn in fit.urns.items()}}
    urns |= {"urn_border": fit.border, "urn_stop": fit.stop}
    arrays |= {name: urn.records_s.astype(np.float32) for name, urn in urns.items()}
    arrays |= {
        "stop_rate": fit.stops.rate.astype(np.float32),
        "stop_clump": fit.stops.clump.astype(np.float32),
        "stop_nest_clump": fit.stops.nest_clump.astype(np.float32),
    }
    packed = BytesIO()
    np.savez_compressed(packed, allow_pickle=False, **arrays)
    names = {
        "cells": _listed(fit.cells),
        "nests": _listed(fit.nests),
        "days": _days(fit.days, day_key),
        "stops_days": _days(fit.stops.days, day_key),
        "stops_nests": [[_plain(name), list(seen)] for name, seen in fit.stops.nests.items()],
        "guesses": {
            name: [urn.guess.median_s, urn.guess.log_sd, urn.guess.worth]
            for name, urn in urns.items()
        },
        **{name: getattr(fit, name) for name in NUMBERS},
    }
    return packed.getvalue(), names


def _listed(names: Mapping[Hashable, int]) -> list[Any]:
    return [_plain(name) for name in names]


def _plain(name: Hashable) -> Any:
    return list(name) if isinstance(name, tuple) else name


def _named(name: Any) -> Hashable:
    return tuple(name) if isinstance(name, list) else name


def _days(days: Mapping[int, Any], day_key: Callable[[int], int | None]) -> list[list[Any]]:
    return [[key, value] for day, value in days.items() if (key := day_key(day)) is not None]


def fit_of(packed: bytes, names: Mapping[str, Any]) -> Fit:
    """The fit that was kept."""
    with np.load(BytesIO(packed), allow_pickle=False) as stored:
        arrays: dict[str, Floats] = {name: stored[name].astype(float) for name in stored.files}

    def urn(name: str) -> Urn:
        return Urn(arrays[name], Guess(*names["guesses"][name]))

    return Fit(
        **{name: arrays[name] for name in ARRAYS},
        cells=_placed(names["cells"]),
        nests=_placed(names["nests"]),
        mean_plan_s=names["mean_plan_s"],
        days={int(key): int(place) for key, place in names["days"]},
        week=names["week"],
        urns={step: urn(f"urn_{step}") for step in Step},
        border=urn("urn_border"),
        stop=urn("urn_stop"),
        stops=StopRate(
            arrays["stop_rate"],
            arrays["stop_clump"],
            arrays["stop_nest_clump"],
            {int(key): _seen(seen) for key, seen in names["stops_days"]},
            {_named(key): _seen(seen) for key, seen in names["stops_nests"]},
        ),
        cuts=names["cuts"],
    )


def _placed(names: list[Any]) -> dict[Hashable, int]:
    return {_named(name): place for place, name in enumerate(names)}


def _seen(pair: Sequence[float]) -> tuple[int, float]:
    return int(pair[0]), float(pair[1])
