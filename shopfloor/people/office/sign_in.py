"""Signing in and out at a desk, and where each role begins."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.core.exceptions import ValidationError
from django.http import HttpResponse, HttpResponseRedirect
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _

from shopfloor.models import Role, User
from shopfloor.people.address import client_address
from shopfloor.people.security import security_event
from shopfloor.people.sign_in_limit import WAIT_S, signin_attempt, signin_worked
from shopfloor.web.access import DeskRequest, signed_in

FIRST_PAGE = {
    Role.OPERATOR: ("floor:home", "today", "jobs"),
    Role.SUPERVISOR: ("today", "jobs"),
    Role.OWNER: ("cost", "today", "jobs"),
    Role.PLANNER: ("jobs",),
    Role.ADMINISTRATOR: ("sources", "people"),
}


class SignInForm(AuthenticationForm):
    """The usual form, with a wait after too many failures."""

    def clean(self) -> dict[str, Any]:
        name = self.cleaned_data.get("username") or ""
        address = client_address(self.request) if self.request else ""
        about = User.objects.filter(username=name).first()
        if not signin_attempt(name=name, address=address):
            security_event("signin_waits", about=about, address=address)
            raise ValidationError(
                _(
                    "Too many failed sign-ins. Wait {wait_s} minutes, then try again; an "
                    "administrator can set a new password meanwhile."
                ).format(wait_s=WAIT_S // 60)
            )
        try:
            cleaned = super().clean()
        except ValidationError:
            security_event("signin_failed", about=about, address=address)
            raise
        signin_worked(name=name, address=address)
        return cleaned


class SignIn(LoginView):
    template_name = "people/login.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True


@signed_in
def home(request: DeskRequest) -> HttpResponse:
    """To the page this person begins with; to the next best while it does not exist."""
    # Whoever was made on the command line has no role yet, and a shop to set up.
    role = Role.ADMINISTRATOR if request.user.is_superuser else Role(request.user.role)
    names = FIRST_PAGE.get(role, ("jobs",))
    for name in (*names, "preferences"):
        try:
            return HttpResponseRedirect(reverse(name))
        except NoReverseMatch:
            continue
    raise NoReverseMatch("preferences")
