"""What a nest takes by each admissible set."""

from __future__ import annotations

import pandas as pd


def nest_by_sets(*, nest_id: int) -> pd.DataFrame:
    """One row a table and set, of the newest revision: table_id, table, set_id, wear_set, duty,
    chosen (bool), cut_mm, pierces, cut_s, pierce_s, travel_s, touch_off_s, load_s, total_s,
    bench_min, machine_minor, labour_minor, gas_minor, energy_minor, wear_minor, bench_minor,
    cost_minor (None where a part of it is unknown), least (bool: cheapest known), problem,
    computed_at. Raises `LookupError` where there is no such nest."""
    raise NotImplementedError
