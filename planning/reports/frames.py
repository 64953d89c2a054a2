"""Rows to frames: unknown stays unknown (never NaN), units and coverage travel with the figures."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from planning.reports.shapes import Coverage
from shopfloor.site.queries import the_shop

UNITS = {
    "_s": "s",
    "_min": "min",
    "_mm": "mm",
    "_m": "m",
    "_a": "A",
    "_us": "us",
    "_minor": "minor units",
    "share": "1",
    "hours": "h",
    "seconds": "s",
    "amps": "A",
    "volts": "V",
}


def frame(
    columns: str,
    rows: Iterable[Sequence[Any]],
    *,
    coverage: Coverage | None = None,
    **attrs: Any,
) -> pd.DataFrame:
    """A frame with these columns (words in a string) even when there are no rows. A number that
    is None makes its column a nullable one."""
    names = columns.replace(",", " ").split()
    rows = list(rows)
    data = {name: _column([row[place] for row in rows]) for place, name in enumerate(names)}
    made = pd.DataFrame(data, columns=names)
    made.attrs["units"] = {
        name: unit for name in names for ending, unit in UNITS.items() if name.endswith(ending)
    }
    made.attrs["coverage"] = coverage or Coverage()
    made.attrs.update(attrs)
    return made


def _column(values: list[Any]) -> Any:
    known = [value for value in values if value is not None]
    if not known or len(known) == len(values):
        return pd.Series(values, dtype=object) if not known else values
    if all(isinstance(value, bool) for value in known):
        return pd.array(values, dtype="boolean")
    if all(isinstance(value, int) for value in known):
        return pd.array(values, dtype="Int64")
    if all(isinstance(value, int | float) for value in known):
        return pd.array(values, dtype="Float64")
    return pd.Series(values, dtype=object)


def currency() -> dict[str, Any]:
    """What every frame with money says of its amounts. One query."""
    shop = the_shop()
    return {"currency": shop.currency, "currency_digits": shop.currency_digits}


def coverage_of(pairs: Iterable[tuple[str, float]], unit: str) -> Coverage:
    """Amounts by evidence word, summed without their sign."""
    sums: dict[str, float] = dict.fromkeys(("measured", "entered", "planned", "unknown"), 0.0)
    for evidence, amount in pairs:
        sums[evidence if evidence in sums else "unknown"] += abs(amount)
    return Coverage(**sums, unit=unit)


def to_records(made: pd.DataFrame) -> dict[str, Any]:
    """A frame as JSON values, unknown as null."""
    rows = [
        [None if value is pd.NA or value is None else _plain(value) for value in row]
        for row in made.astype(object).to_numpy().tolist()
    ]
    return {"columns": " ".join(made.columns), "rows": rows}


def _plain(value: Any) -> Any:
    if isinstance(value, bool | int | float | str):
        return value
    return value.item() if hasattr(value, "item") else str(value)


def from_records(kept: Mapping[str, Any], **attrs: Any) -> pd.DataFrame:
    """What `to_records` kept, a frame again."""
    return frame(kept["columns"], kept["rows"], **attrs)
