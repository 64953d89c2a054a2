"""What a person may do, and which roles may: the one table of rights. A role fills a group of the
same name; a shop can give a person more."""

from __future__ import annotations

from typing import Any, Final

from django.db import models
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import gettext_noop as N_


class Role(models.TextChoices):
    OPERATOR = "operator", _lazy("operator")
    SUPERVISOR = "supervisor", _lazy("supervisor")
    PLANNER = "planner", _lazy("planner")
    OWNER = "owner", _lazy("owner")
    ADMINISTRATOR = "administrator", _lazy("administrator")


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
    (COST, N_("sees what jobs cost"), ("owner",)),
    (WAGE, N_("sees wage rates"), ("owner",)),
    (MARGIN, N_("sees quotes and margin"), ("owner",)),
    (QUOTES, N_("makes and opens quotes"), ("planner", "owner")),
    (PERSONS, N_("sees times of single persons"), ("supervisor", "owner")),
    (FLOOR, N_("works at a screen beside a table"), ("operator", "supervisor")),
    (ASSIGN, N_("says which job arcs belonged to"), ("supervisor", "planner", "owner")),
    (
        PLAN,
        N_("changes jobs, nests, stock and the queue"),
        ("supervisor", "planner", "owner", "administrator"),
    ),
    (CHART, N_("changes the cut chart and rates"), ("planner", "owner", "administrator")),
    (FEEDS, N_("adds and changes signal sources"), ("administrator",)),
    (CLOSE, N_("closes a month"), ("owner",)),
    (SECURITY, N_("reads the security log"), ("owner", "administrator")),
)
RIGHTS: Final[dict[str, tuple[str, ...]]] = {
    role: tuple(code for code, _, roles in TABLE if role in roles) for role in Role
}


def may(person: Any, *codes: str) -> bool:
    """Whether a person (or nobody, signed out) has one of the rights."""
    return any(person.has_perm(f"shopfloor.{code}") for code in codes)
