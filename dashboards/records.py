"""Frames as plain rows."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """A frame as plain rows in which what is missing is None, never NaN. Column by column:
    `DataFrame.to_dict` takes milliseconds for a frame of a few rows."""
    names = [str(name) for name in frame.columns]
    columns = [_values(frame.iloc[:, place]) for place in range(len(names))]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def _values(column: pd.Series) -> Iterable[Any]:
    values = column.tolist()
    if column.dtype == object:
        values = [value.item() if isinstance(value, np.generic) else value for value in values]
    missing = column.isna().to_numpy()
    if not missing.any():
        return values
    return [None if gone else value for value, gone in zip(values, missing, strict=True)]
