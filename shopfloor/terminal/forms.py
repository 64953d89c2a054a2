"""Shapes of what the sign-in and registering pages send. Rules live in the services."""

from __future__ import annotations

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.models import Table, User
from shopfloor.people.floor_people import floor_people


class RegisterForm(forms.Form):
    name = forms.CharField(
        max_length=80,
        label=_lazy("Name of this screen"),
        help_text=_lazy("For instance: tablet beside North"),
    )
    table = forms.ModelChoiceField(
        queryset=Table.objects.none(), label=_lazy("Table it stands beside"), empty_label=None
    )

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        tables: QuerySet[Table] = Table.objects.filter(active=True)
        self.fields["table"].queryset = tables  # type: ignore[attr-defined]


class CodeForm(forms.Form):
    code = forms.CharField(
        max_length=20,
        label=_lazy("Code"),
        help_text=_lazy("8 letters and figures, from Sources, Screens at a desk"),
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )


class SignInForm(forms.Form):
    """A badge as scanned, or a name as touched; and the PIN."""

    badge = forms.CharField(max_length=40, required=False)
    person = forms.IntegerField(required=False)
    pin = forms.CharField(max_length=8)

    def who(self) -> User | None:
        badge, person = self.cleaned_data["badge"].strip(), self.cleaned_data["person"]
        people = floor_people()
        if badge:
            return next((one for one in people if one.badge == badge), None)
        return next((one for one in people if one.pk == person), None)
