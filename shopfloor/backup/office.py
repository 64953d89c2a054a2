"""Backups: the last good one, when they are made, and making one now."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_POST

from shopfloor.backup.queries import backup_plan, backup_state
from shopfloor.backup.services import backup_now, backup_plan_set, backup_running
from shopfloor.models import BackupRun
from shopfloor.web.access import DeskRequest, administrator
from shopfloor.web.forms import page_of
from shopfloor.web.shown_values import kept_as_shown, shown

FIELDS = ("active", "at", "folder", "inside", "daily", "weekly", "monthly")


class BackupForm(forms.Form):
    active = forms.BooleanField(required=False, label=_lazy("Back up every day"))
    at = forms.TimeField(
        label=_lazy("At"),
        help_text=_lazy("on the shop’s clock"),
        widget=forms.TimeInput(format="%H:%M"),
    )
    folder = forms.CharField(
        max_length=500,
        required=False,
        label=_lazy("Folder for backups"),
        help_text=_lazy(
            "on the machine this runs on; best another disk, or a share on another machine"
        ),
    )
    inside = forms.BooleanField(
        required=False, label=_lazy("Allow a folder inside the data folder"),
        help_text=_lazy("if the data folder is lost, so are the backups in it"),
    )  # fmt: skip
    daily = forms.IntegerField(min_value=1, max_value=366, label=_lazy("Daily backups to keep"))
    weekly = forms.IntegerField(min_value=0, max_value=520, label=_lazy("Weekly backups to keep"))
    monthly = forms.IntegerField(min_value=0, max_value=240, label=_lazy("Monthly backups to keep"))


def _known() -> dict[str, Any]:
    known = backup_plan()
    return {name: getattr(known, name) for name in FIELDS}


SORTS = ("ended_at", "path", "size", "state")


@administrator
def backups(request: DeskRequest) -> HttpResponse:
    known = backup_plan()
    row = known if known.pk else None
    form = BackupForm(request.POST or None, initial=_known())
    if form.is_valid() and kept_as_shown(
        request, form, row, _known,
        lambda: backup_plan_set(**form.cleaned_data),
    ):  # fmt: skip
        messages.success(request, _("Saved."))
        return redirect("backups")
    return render(
        request,
        "backup/backups.html",
        {"form": form, "shown": shown(form, row, _known()),
         "state": backup_state(timezone.now()), "plan": known,
         "running": backup_running(), "page_obj": page_of(request, BackupRun.objects.all(), SORTS)},
    )  # fmt: skip


@administrator
@require_POST
def make(request: DeskRequest) -> HttpResponse:
    try:
        backup_now(by=request.user)
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
    else:
        messages.success(request, _("A backup is being made; it shows here once it is whole."))
    return redirect("backups")
