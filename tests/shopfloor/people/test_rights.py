"""The table of rights, written a second time by hand from what each person does in a shop: who
changes one of them changes both, and says so."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import Group

from shopfloor.models import User
from shopfloor.people.rights import RIGHTS

pytestmark = pytest.mark.django_db

#                     operator  supervisor  planner  owner  administrator
TABLE = """
work_floor                x         x          -       -          -
assign_arcs               -         x          x       x          -
plan_work                 -         x          x       x          x
edit_chart                -         -          x       x          x
see_person_times          -         x          -       x          -
see_cost                  -         -          -       x          -
see_wage                  -         -          -       x          -
see_margin                -         -          -       x          -
make_quotes               -         -          x       x          -
close_month               -         -          -       x          -
manage_feeds              -         -          -       -          x
see_security              -         -          -       x          x
"""
ROLES = ("operator", "supervisor", "planner", "owner", "administrator")
ROWS = {line.split()[0]: line.split()[1:] for line in TABLE.strip().splitlines()}


@pytest.mark.parametrize("role", ROLES)
def test_a_role_may_do_what_the_table_says_and_nothing_else(role, request):
    person = User.objects.get(pk=request.getfixturevalue(role).pk)
    may = {right for right in ROWS if person.has_perm(f"shopfloor.{right}")}
    assert may == {right for right, marks in ROWS.items() if marks[ROLES.index(role)] == "x"}


def test_a_person_without_a_role_may_do_nothing(nobody):
    assert not [right for right in ROWS if nobody.has_perm(f"shopfloor.{right}")]


def test_the_table_has_every_role_and_every_right_of_ours():
    assert set(ROLES) == {str(role) for role in RIGHTS}
    assert set(ROWS) == {code for code, _ in User._meta.permissions}


@pytest.mark.parametrize("role", ROLES)
def test_what_roles_are_given_anew_is_what_migrating_gave_them(role):
    """The migration has a table of its own: the persons above have their rights from it."""
    said = {right for right, marks in ROWS.items() if marks[ROLES.index(role)] == "x"}
    assert set(RIGHTS[role]) == said
    migrated = Group.objects.get(name=role).permissions
    assert set(migrated.values_list("codename", flat=True)) == said
