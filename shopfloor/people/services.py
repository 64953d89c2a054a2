"""The people of the shop and their rights."""

from __future__ import annotations

from django.contrib.auth.models import Permission
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _

from shopfloor.models import Units, User
from shopfloor.people.rights import RIGHTS
from shopfloor.people.roles import role_give
from shopfloor.people.screen_sign_ins import floor_right_ended
from shopfloor.people.security import security_event
from shopfloor.site.queries import the_shop

THEMES = ("", "light", "dark")


@transaction.atomic
def preferences_set(*, user: User, units: str, theme: str) -> None:
    if units not in Units.values or theme not in THEMES:
        raise ValidationError(_("There is no such setting."))
    user.units, user.theme = units, theme
    user.save(update_fields=["units", "theme"])


@transaction.atomic
def person_add(
    *,
    first_name: str,
    last_name: str,
    role: str,
    username: str = "",
    password: str = "",
    badge: str = "",
) -> User:
    """A person with a first password, to be changed by them; without one they sign in at no
    desk, only at a screen with badge and PIN. Without a `username` it is made of the name."""
    user = User(
        username=username.strip() or _free_username(first_name, last_name),
        first_name=first_name.strip(),
        last_name=last_name.strip(),
        badge=badge.strip() or None,
        units=the_shop().units,
    )
    if password:
        validate_password(password, user)
        user.set_password(password)
    else:
        user.set_unusable_password()
    user.full_clean()
    user.save()
    role_give(user=user, role=role)
    security_event("person_added", about=user, text=role)
    return user


def _free_username(first_name: str, last_name: str) -> str:
    """ "milo", or "milo.brandt" and "milo.brandt2" where that is taken."""
    first, whole = slugify(first_name), slugify(f"{first_name} {last_name}").replace("-", ".")
    tried = [first, whole or "person", *(f"{whole or 'person'}{n}" for n in range(2, 1000))]
    taken = set(User.objects.filter(username__in=tried).values_list("username", flat=True))
    return next(name for name in tried if name and name not in taken)


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
        raise ValidationError(_("Your own role is changed by another administrator."))
    was = User.objects.get(pk=user.pk)
    user.first_name, user.last_name = first_name.strip(), last_name.strip()
    user.badge, user.is_active = badge.strip() or None, active
    user.needs_countersign = needs_countersign
    user.full_clean()
    fields = ["first_name", "last_name", "badge", "is_active", "needs_countersign"]
    user.save(update_fields=fields)
    if role != user.role or not user.groups.filter(name=role).exists():
        role_give(user=user, role=role)
    floor_right_ended(user=user, now=timezone.now())
    if role != was.role:
        security_event(
            "role_changed",
            about=user,
            text=_("{role} to {now}").format(role=was.role, now=role),
        )
    if active != was.is_active:
        security_event("person_let_in" if active else "person_shut_out", about=user)
    if user.badge != was.badge:
        security_event("badge_changed", about=user)


@transaction.atomic
def rights_set(*, user: User, codes: list[str], by: User) -> None:
    """Rights a person has beyond the role's own. The owner is told of those somebody gives
    themselves."""
    known = {code for rights in RIGHTS.values() for code in rights}
    if not set(codes) <= known:
        raise ValidationError(_("There is no such right."))
    had = set(user.user_permissions.values_list("codename", flat=True))
    user.user_permissions.set(
        Permission.objects.filter(
            codename__in=codes, content_type__app_label="shopfloor", content_type__model="user"
        )
    )
    floor_right_ended(user=user, now=timezone.now())
    added, gone = sorted(set(codes) - had), sorted(had - set(codes))
    words = dict(User._meta.permissions)
    if added or gone:
        changed = [_("now {code}").format(code=_(words[code])) for code in added]
        changed += [_("no longer {code}").format(code=_(words[code])) for code in gone]
        security_event("rights_changed", about=user, text="; ".join(changed))
    if added and user.pk == by.pk:
        given = "; ".join(_(words[code]) for code in added)
        text = _("{shown_name} gave themselves a right: {given}").format(
            shown_name=user.shown_name, given=given
        )
        security_event("rights_own", about=user, text=text)


@transaction.atomic
def password_reset(*, user: User, password: str) -> None:
    """A new first password, set by an administrator. Open sessions of that person end."""
    validate_password(password, user)
    user.set_password(password)
    user.save(update_fields=["password"])
    security_event("password_reset", about=user)
