"""A role fills a group of the same name with its rights."""

from __future__ import annotations

from django.contrib.auth.models import Group, Permission

from shopfloor.models import User
from shopfloor.people.rights import RIGHTS


def roles_sync() -> None:
    """Makes the groups and gives each exactly its rights. Harmless to repeat."""
    rights = {
        permission.codename: permission
        for permission in Permission.objects.filter(
            content_type__app_label="shopfloor", content_type__model="user"
        )
    }
    for role, codes in RIGHTS.items():
        group, _ = Group.objects.get_or_create(name=str(role))
        group.permissions.set([rights[code] for code in codes])


def role_give(*, user: User, role: str) -> None:
    """Puts a person into one role's group and out of the others'."""
    if role not in RIGHTS:
        raise ValueError(f"unknown role {role!r}; one of {', '.join(RIGHTS)}")
    user.role = role
    user.save(update_fields=["role"])
    user.groups.remove(*Group.objects.filter(name__in=list(RIGHTS)))
    user.groups.add(Group.objects.get(name=role))
