"""The shop's people, and the terminals they share. For those who keep the sign-ins."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.errors import FloorError
from shopfloor.models import Role, User
from shopfloor.people.badges import pin_set
from shopfloor.people.rights import RIGHTS
from shopfloor.people.services import password_reset, person_add, person_edit, rights_set
from shopfloor.web.access import DeskRequest, administrator
from shopfloor.web.forms import attempt
from shopfloor.web.shown_values import kept_as_shown, shown

RIGHT_WORDS = dict(User._meta.permissions)


class PersonForm(forms.Form):
    first_name = forms.CharField(max_length=150)
    last_name = forms.CharField(max_length=150)
    role = forms.ChoiceField(choices=Role.choices)
    badge = forms.CharField(
        max_length=40, required=False, help_text=_lazy("What the scanner reads")
    )


class AddForm(PersonForm):
    pin = forms.RegexField(
        r"^[0-9]{4,8}$", label=_lazy("PIN"), required=False,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric"}),
        help_text=_lazy("4 to 8 figures, for the screens beside the tables"),
    )  # fmt: skip
    username = forms.CharField(
        max_length=150,
        required=False,
        label=_lazy("Sign-in name"),
        help_text=_lazy("Blank: made of the name"),
    )
    password = forms.CharField(
        widget=forms.PasswordInput(),
        label=_lazy("First password"),
        strip=False,
        required=False,
        help_text=_lazy(
            "10 letters or more; blank for an operator who signs in with badge and PIN only"
        ),
    )

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        if not told.get("password") and told.get("role") not in (None, Role.OPERATOR):
            self.add_error("password", _("Whoever works at a desk needs one."))
        return told


class EditForm(PersonForm):
    needs_countersign = forms.BooleanField(
        required=False,
        label=_lazy("First pieces take a second signature"),
        help_text=_lazy("somebody else’s badge and PIN at the screen"),
    )
    active = forms.BooleanField(required=False, label=_lazy("May sign in"))


class RightsForm(forms.Form):
    codes = forms.MultipleChoiceField(
        choices=[(code, _lazy(words)) for code, words in RIGHT_WORDS.items()],
        required=False,
        widget=forms.CheckboxSelectMultiple(),
        label=_lazy("Rights beyond the role’s"),
    )


class PinForm(forms.Form):
    pin = forms.RegexField(
        r"^[0-9]{4,8}$", label=_lazy("New PIN"),
        widget=forms.PasswordInput(attrs={"inputmode": "numeric"}),
        help_text=_lazy("4 to 8 figures; ends a lock"),
    )  # fmt: skip


class PasswordForm(forms.Form):
    password = forms.CharField(
        widget=forms.PasswordInput(), strip=False, label=_lazy("New password")
    )


@administrator
def people(request: DeskRequest) -> HttpResponse:
    rows = User.objects.order_by("-is_active", "last_name", "username")
    return render(request, "people/people.html", {"people": rows})


@administrator
def add(request: DeskRequest) -> HttpResponse:
    form = AddForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made: list[User] = []
        if attempt(form, lambda: made.append(_add(form.cleaned_data))):
            messages.success(
                request, _("{shown_name} may sign in.").format(shown_name=made[0].shown_name)
            )
            return redirect("person", made[0].pk)
    return render(
        request, "web/form.html",
        {"form": form, "heading": _("A new person"), "submit": _("Add them"), "back": "people"},
    )  # fmt: skip


@transaction.atomic
def _add(told: dict[str, Any]) -> User:
    values = dict(told)
    pin = values.pop("pin")
    made = person_add(**values)
    if pin:
        _pin(made, pin)
    return made


@administrator
def person(request: DeskRequest, pk: int) -> HttpResponse:
    user = get_object_or_404(User, pk=pk)
    forms_of = _forms(request, user)
    which = request.POST.get("form", "")
    form = forms_of.get(which)
    if (
        request.method == "POST"
        and form is not None
        and form.is_valid()
        and kept_as_shown(
            request,
            form,
            user,
            lambda: _known(pk, which),
            lambda: _write(request.user, user, which, form.cleaned_data),
        )
    ):
        messages.success(request, _("Kept."))
        return redirect("person", pk)
    own = sorted(_(RIGHT_WORDS[code]) for code in RIGHTS.get(user.role, ()))
    return render(
        request, "people/person.html",
        {"person": user, "own": own,
         "forms": [(name, one, shown(one, user, _known(pk, name)))
                   for name, one in forms_of.items()]},
    )  # fmt: skip


def _known(pk: int, which: str) -> dict[str, Any]:
    """A person as one of the forms shows them; a PIN and a password are never shown."""
    user = User.objects.get(pk=pk)
    if which == "rights":
        return {"codes": list(user.user_permissions.values_list("codename", flat=True))}
    if which != "person":
        return {}
    names = ("first_name", "last_name", "role", "needs_countersign")
    return {name: getattr(user, name) for name in names} | {
        "badge": user.badge or "", "active": user.is_active,
    }  # fmt: skip


def _forms(request: DeskRequest, user: User) -> dict[str, forms.Form]:
    which = request.POST.get("form", "")
    kinds: dict[str, type[forms.Form]] = {
        "person": EditForm, "rights": RightsForm, "pin": PinForm, "password": PasswordForm,
    }  # fmt: skip
    return {
        name: kind(
            request.POST if name == which else None, initial=_known(user.pk, name), prefix=name
        )
        for name, kind in kinds.items()
    }


def _write(by: User, user: User, which: str, values: dict[str, Any]) -> None:
    if which == "person":
        person_edit(user=user, by=by, **values)
    elif which == "rights":
        rights_set(user=user, by=by, **values)
    elif which == "password":
        password_reset(user=user, **values)
    elif which == "pin":
        _pin(user, values["pin"])


def _pin(user: User, pin: str) -> None:
    try:
        pin_set(user=user, pin=pin)
    except FloorError as problem:
        said = f"{problem.message} {problem.hint}".strip()
        raise forms.ValidationError({"pin": said}) from problem
