"""What a person may do, and which roles may: the one table of rights. A role fills a group of the
same name; a shop can give a person more."""

from __future__ import annotations

from typing import Any, Final

from django.db import models


class Role(models.TextChoices):
    OPERATOR = "operator", "operator"
    SUPERVISOR = "supervisor", "supervisor"
    PLANNER = "planner", "planner"
    OWNER = "owner", "owner"
    ADMINISTRATOR = "administrator", "administrator"


COST: Final = "see_cost"
WAGE: Final = "see_wage"
MARGIN: Final = "see_margin"
QUOTES: Final = "make_quotes"
PERSONS: Final = "see_person_times"
FLOOR: Final = "work_floor"
ASSIGN: Final = "assign_arcs"
PLAN: Final = "plan_work"
CHART: Final = "edit_chart"
FEEDS: Final = "manage_feeds"
CLOSE: Final = "close_month"
SECURITY: Final = "see_security"

# Right, what it lets a person do, whose it is.
TABLE: Final = (
    (COST, "sees what jobs cost", "owner"),
    (WAGE, "sees wage rates", "owner"),
    (MARGIN, "sees quotes and margin", "owner"),
    (QUOTES, "makes and opens quotes", "planner owner"),
    (PERSONS, "sees times of single persons", "supervisor owner"),
    (FLOOR, "works at a screen beside a table", "operator supervisor"),
    (ASSIGN, "says which job arcs belonged to", "supervisor planner owner"),
    (PLAN, "changes jobs, nests, stock and the queue", "supervisor planner owner administrator"),
    (CHART, "changes the cut chart and rates", "planner owner administrator"),
    (FEEDS, "adds and changes signal sources", "administrator"),
    (CLOSE, "closes a month", "owner"),
    (SECURITY, "reads the security log", "owner administrator"),
)
RIGHTS: Final[dict[str, tuple[str, ...]]] = {
    role: tuple(code for code, _, roles in TABLE if role in roles.split()) for role in Role
}


def may(person: Any, *codes: str) -> bool:
    """Whether a person (or nobody, signed out) has one of the rights."""
    return any(person.has_perm(f"shopfloor.{code}") for code in codes)
