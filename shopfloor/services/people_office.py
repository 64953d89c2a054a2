"""The people of the shop and their rights."""

from __future__ import annotations

from django.contrib.auth.models import Permission
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from shopfloor.models import Units, User
from shopfloor.roles import RIGHTS, role_give
from shopfloor.services.screen_signins import floor_right_ended

THEMES = ("", "light", "dark")


@transaction.atomic
def preferences_set(*, user: User, units: str, theme: str) -> None:
    if units not in Units.values or theme not in THEMES:
        raise ValidationError("There is no such setting.")
    user.units, user.theme = units, theme
    user.save(update_fields=["units", "theme"])


@transaction.atomic
def person_add(
    *, username: str, first_name: str, last_name: str, role: str, password: str, badge: str = ""
) -> User:
    """A person with a first password, to be changed by them."""
    user = User(
        username=username.strip(),
        first_name=first_name.strip(),
        last_name=last_name.strip(),
        badge=badge.strip() or None,
    )
    validate_password(password, user)
    user.set_password(password)
    user.full_clean()
    user.save()
    role_give(user=user, role=role)
    return user


@transaction.atomic
def person_edit(
    *,
    user: User,
    first_name: str,
    last_name: str,
    role: str,
    badge: str,
    active: bool,
    by: User,
    needs_countersign: bool = False,
) -> None:
    """Changes a person. Nobody takes their own administration away: somebody must be left."""
    if user.pk == by.pk and (role != user.role or not active):
        raise ValidationError("Your own role is changed by another administrator.")
    user.first_name, user.last_name = first_name.strip(), last_name.strip()
    user.badge, user.is_active = badge.strip() or None, active
    user.needs_countersign = needs_countersign
    user.full_clean()
    fields = ["first_name", "last_name", "badge", "is_active", "needs_countersign"]
    user.save(update_fields=fields)
    if role != user.role or not user.groups.filter(name=role).exists():
        role_give(user=user, role=role)
    floor_right_ended(user=user, now=timezone.now())


@transaction.atomic
def rights_set(*, user: User, codes: list[str]) -> None:
    """Rights a person has beyond the role's own."""
    known = {code for rights in RIGHTS.values() for code in rights}
    if not set(codes) <= known:
        raise ValidationError("There is no such right.")
    user.user_permissions.set(
        Permission.objects.filter(
            codename__in=codes, content_type__app_label="shopfloor", content_type__model="user"
        )
    )
    floor_right_ended(user=user, now=timezone.now())


@transaction.atomic
def password_reset(*, user: User, password: str) -> None:
    """A new first password, set by an administrator. Open sessions of that person end."""
    validate_password(password, user)
    user.set_password(password)
    user.save(update_fields=["password"])
