"""What pages are drawn from: named reads, each a few queries over published and posted rows. No
HTML here, and no rights either: whoever shows money or persons' times checks the permission first.

Shapes are in `planning.reports.shapes`; columns of every frame stand in their docstrings.
"""

from __future__ import annotations

from planning.reports.air import air_by_shift
from planning.reports.balance import balance_days
from planning.reports.cost import cost_month, months
from planning.reports.factors import factor_board
from planning.reports.failures import failures_board
from planning.reports.job import job_cost
from planning.reports.jobs import jobs_today
from planning.reports.measures import measures
from planning.reports.nest import nest_by_sets
from planning.reports.openers import open_figure
from planning.reports.quote_paper import quote_paper
from planning.reports.quotes import quote_board, quote_detail
from planning.reports.routes import nest_routes
from planning.reports.run import run_detail
from planning.reports.squareness import squareness
from planning.reports.today import table_shares, today
from planning.reports.wear import pieces_before, wear_board

__all__ = [
    "air_by_shift",
    "balance_days",
    "cost_month",
    "factor_board",
    "failures_board",
    "job_cost",
    "jobs_today",
    "measures",
    "months",
    "nest_by_sets",
    "nest_routes",
    "open_figure",
    "pieces_before",
    "quote_board",
    "quote_detail",
    "quote_paper",
    "run_detail",
    "squareness",
    "table_shares",
    "today",
    "wear_board",
]
