"""A person's own settings: units, light or dark, password."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.forms import PasswordChangeForm
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.models import Units
from shopfloor.people.security import security_event
from shopfloor.people.services import preferences_set
from shopfloor.web.access import DeskRequest, signed_in

THEMES = [("", _lazy("as the device has it")), ("light", _lazy("light")), ("dark", _lazy("dark"))]


class PreferencesForm(forms.Form):
    units = forms.ChoiceField(choices=Units.choices, label=_lazy("Sizes in"))
    theme = forms.ChoiceField(choices=THEMES, required=False, label=_lazy("Paper"))


@signed_in
def preferences(request: DeskRequest) -> HttpResponse:
    user = request.user
    form = PreferencesForm(request.POST or None, initial={"units": user.units, "theme": user.theme})
    if request.method == "POST" and form.is_valid():
        preferences_set(user=user, **form.cleaned_data)
        messages.success(request, _("Kept."))
        return redirect("preferences")
    return render(request, "people/preferences.html", {"form": form})


@signed_in
def password(request: DeskRequest) -> HttpResponse:
    form = PasswordChangeForm(request.user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        update_session_auth_hash(request, form.save())
        security_event("password_changed", about=request.user)
        messages.success(request, _("Your new password holds from now on."))
        return redirect("preferences")
    return render(request, "people/password.html", {"form": form})
