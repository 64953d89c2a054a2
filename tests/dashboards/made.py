"""Hand-made reports: small enough that every sum can be done in the head."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pandas as pd

from planning.reports.shapes import CostMonth, Coverage
from planning.reports.squareness import Squareness

OCTOBER = date(2026, 10, 1)
MONEY = {"currency": "USD", "currency_digits": 2}


def frame(columns: str, rows: list[tuple]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=columns.split(), dtype=object)


def job(number, plan, actual, hours, quote=None, job_id=1):
    over = None
    return (
        job_id, number, "Marrow Hill", f"title {number}", quote, plan, actual,
        None if quote is None else quote - actual, None, hours * 3600.0, over, "measured",
    )  # fmt: skip


JOBS = (
    "job_id job customer title quote_minor plan_minor actual_minor margin_minor planned_s "
    "elapsed_s over_s evidence"
)
TERMS = "job_id job term seconds money_minor"


def month(**more) -> CostMonth:
    """Three jobs and the shop's own time.

    plan   1000.00 + 500.00           = 1500.00   (C and the shop have none)
    actual 1100.00 + 480.00           = 1580.00   of those two
    terms  A: stoppages +70.00, cutting +20.00; B: cutting -30.00   = +60.00
    rest   80.00 - 60.00              =   20.00
    C 40.00 and the shop 5.00 have no plan: 45.00;  total 1580 + 45 = 1625.00
    """
    values = {
        "first_day": OCTOBER,
        "closed_at": None,
        "closed_by": "",
        "total_minor": 162_500,
        "jobs": frame(
            JOBS,
            [
                job("A", 100_000, 110_000, 6.0, 105_000, 1),
                job("B", 50_000, 48_000, 3.0, None, 2),
                job("C", None, 4_000, 0.5, None, 3),
                job("the shop", None, 500, 0.5, None, None),
            ],
        ),
        "kinds": frame(
            "job_id job kind amount_minor",
            [
                (1, "A", "machine", 110_000), (2, "B", "machine", 40_000), (2, "B", "wear", 8_000),
                (3, "C", "machine", 4_000), (None, "the shop", "wear", 500),
            ],
        ),
        "terms": frame(
            TERMS,
            [
                (1, "A", "stoppages", 3600.0, 7_000),
                (1, "A", "cutting", 900.0, 2_000),
                (2, "B", "cutting", -1350.0, -3_000),
                (3, "C", "cutting", 60.0, 100),
            ],
        ),
        "metres": frame(
            "material thickness_mm duty cut_m amount_minor per_m_minor per_ft_minor runs",
            [
                ("A36", 6.0, "fine", 100.0, 12_000, 120.0, 36.576, 2),
                ("A36", 6.0, "fast", 300.0, 18_000, 60.0, 18.288, 3),
            ],
        ),
        "hours": frame(
            "material thickness_mm duty hours share running_share in_80",
            [("A36", 6.0, "fast", 7.0, 0.7, 0.7, True), ("A36", 6.0, "fine", 3.0, 0.3, 1.0, True)],
        ),
        "late": frame("belongs_to job kind amount_minor why by", []),
        "coverage": Coverage(measured=121_875, entered=40_625, unit="USD"),
        "unknown": (),
    }  # fmt: skip
    return CostMonth(**(values | more))


def months() -> pd.DataFrame:
    closed = datetime(2026, 10, 2, 12, tzinfo=UTC)
    return frame(
        "first_day closed_at closed_by amount_minor late_minor",
        [(OCTOBER, None, "", 162_500, 0), (date(2026, 9, 1), closed, "Ann Tiller", 100, 0)],
    )


def square(*, nothing: bool = False) -> Squareness:
    """Two runs of A that asked nothing and one of B that asked range 3."""
    rows = [
        (1, "A", "title A", None, "r1", "A-1", OCTOBER, 40.0, 0.2, 1000),
        (1, "A", "title A", None, "r2", "A-2", OCTOBER, 60.0, 0.3, 2000),
        (2, "B", "title B", 3, "r3", "B-1", OCTOBER, 10.0, 0.1, 500),
    ]
    columns = "job_id job title asked run_id nest day cut_m hours_more more_minor"
    tenths = (
        "material thickness_mm fine_set fast_set fine_u_mm fast_u_mm per_m_minor per_tenth_minor"
    )
    return Squareness(
        frame(columns, [] if nothing else rows),
        frame(tenths, [("A36", 6.0, "fine 50 A", "fast 120 A", 0.15, 0.30, 37, 25)]),
        {"asked for": 40.0} if nothing else {"not asked for": 110.0, "asked for": 40.0},
        False,
    )


def days(rows: list[tuple]) -> pd.DataFrame:
    return frame("day table duty planned_min burnt_min runs", rows)


SETS = (
    "table_id table set_id wear_set duty chosen cut_mm pierces cut_s pierce_s travel_s "
    "touch_off_s load_s total_s bench_min machine_minor labour_minor gas_minor energy_minor "
    "wear_minor bench_minor cost_minor least problem computed_at"
)


def a_set(table, name, *, chosen=False, total_s=600.0, cost=1000, least=False, problem=""):
    if problem:
        return (1, table, 1, name, "fine", chosen, *([None] * 16), False, problem, None)
    return (
        1, table, 1, name, "fast", chosen, 9000.0, 40, 500.0, 20.0, 60.0, 10.0, 10.0, total_s, 5.0,
        400, 300, 20, 10, 200, 70, cost, least, "", None,
    )  # fmt: skip


def texts(component) -> str:
    """All words in a Dash component, in order, one space between them."""
    return " ".join(_said(component).split())


def _said(component) -> str:
    if component is None:
        return ""
    if isinstance(component, str | int | float):
        return str(component)
    if isinstance(component, list | tuple):
        return " ".join(_said(one) for one in component)
    return _said(getattr(component, "children", None))


def find(component, kind: str) -> list:
    """Every component of a kind beneath one."""
    if isinstance(component, list | tuple):
        return [found for one in component for found in find(one, kind)]
    mine = [component] if type(component).__name__ == kind else []
    children = getattr(component, "children", None)
    return mine + (find(children, kind) if children is not None else [])
