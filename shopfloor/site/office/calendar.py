"""The calendar: tables down, people missing, closed days, overtime, and the four weeks that come
of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_POST

from shopfloor.models import Absence, AwayReason, ClosedDay, Shift, Table, TableDown, User
from shopfloor.site import calendar_queries as queries
from shopfloor.site import calendar_services as services
from shopfloor.site.holidays import offered
from shopfloor.site.queries import the_shop
from shopfloor.web.access import ANY, PLAN, DeskRequest, may, right
from shopfloor.web.forms import DayField, WhenField, attempt


class DownForm(forms.Form):
    """Which table is said by the button that is pressed."""

    table = forms.SlugField(widget=forms.HiddenInput, required=False)
    until = WhenField(label=_lazy("Until"), help_text=_lazy("On the shop’s clock"))
    start = WhenField(label=_lazy("From"), required=False, help_text=_lazy("blank: from now on"))
    why = forms.CharField(max_length=80, required=False, label=_lazy("Why"))
    planned = forms.BooleanField(
        required=False,
        label=_lazy("Planned upkeep"),
        help_text=_lazy("a breakdown counts against availability, planned upkeep does not"),
    )


class ClosedForm(forms.Form):
    day = DayField(label=_lazy("Day"))
    why = forms.CharField(max_length=80, label=_lazy("Why"))


class AddedForm(forms.Form):
    day = DayField(label=_lazy("Day"))
    name = forms.CharField(max_length=40, label=_lazy("Shift"), initial=_lazy("overtime"))
    start = forms.TimeField(label=_lazy("Start"), help_text="06:00")
    end = forms.TimeField(
        label=_lazy("End"), help_text=_lazy("an end before the start is the next morning")
    )
    breaks = forms.CharField(
        label=_lazy("Breaks"), required=False, help_text=_lazy("10:00 15 break"),
        widget=forms.Textarea(attrs={"rows": 2}),
    )  # fmt: skip
    tables = forms.ModelMultipleChoiceField(
        Table.objects.filter(active=True),
        to_field_name="code",
        widget=forms.CheckboxSelectMultiple,
        required=False,
        label=_lazy("Tables"),
        help_text=_lazy("none named: all of them"),
    )


if TYPE_CHECKING:
    _OneUser = forms.ModelChoiceField[User]
else:
    _OneUser = forms.ModelChoiceField


class PersonField(_OneUser):
    """Those who can sign in, by the name they go by."""

    def __init__(self, **more: Any) -> None:
        people = User.objects.filter(is_active=True).order_by("first_name", "username")
        super().__init__(people, **more)

    def label_from_instance(self, obj: User) -> str:
        return obj.shown_name


class AwayForm(forms.Form):
    person = PersonField(label=_lazy("Who"))
    first = DayField(label=_lazy("First day"))
    last = DayField(label=_lazy("Last day"))
    reason = forms.ChoiceField(choices=[("", "–"), *AwayReason.choices], label=_lazy("Why"))
    tables = forms.ModelMultipleChoiceField(
        Table.objects.filter(active=True),
        to_field_name="code",
        widget=forms.CheckboxSelectMultiple,
        label=_lazy("Tables left without anybody"),
    )
    shift = forms.CharField(
        max_length=40, required=False, label=_lazy("Shift"), help_text=_lazy("blank: every shift")
    )
    stand_in = PersonField(
        required=False,
        label=_lazy("Stand-in"),
        help_text=_lazy("with one the tables are staffed as usual"),
    )


def _down(table: str, **values: Any) -> None:
    found = Table.objects.filter(code=table, active=True).first()
    if found is None:
        raise ValidationError(_("Press the button of one table."))
    services.table_down(table=found, **values)


def _away(tables: Any, **values: Any) -> None:
    services.absence_add(tables=[table.code for table in tables], **values)


def _added(tables: Any, **values: Any) -> None:
    services.shift_added(tables=[table.code for table in tables], **values)


CHANGES: dict[str, tuple[type[forms.Form], Callable[..., object]]] = {
    "down": (DownForm, _down),
    "closed": (ClosedForm, services.day_close),
    "added": (AddedForm, _added),
    "away": (AwayForm, _away),
}


def _forms() -> dict[str, forms.Form]:
    soon = timezone.now() + timedelta(days=2)
    tomorrow = services.shop_today() + timedelta(days=1)
    first: dict[str, dict[str, Any]] = {
        "down": {"until": soon},
        "closed": {"day": tomorrow},
        "added": {"day": tomorrow},
        "away": {"first": tomorrow, "last": tomorrow},
    }
    return {
        which: form(initial=first[which], prefix=which) for which, (form, _w) in CHANGES.items()
    }


def _shown(request: DeskRequest, shown: dict[str, forms.Form]) -> HttpResponse:
    now, today = timezone.now(), services.shop_today()
    tables = list(Table.objects.filter(active=True))
    told = {
        "may_plan": may(request.user, PLAN),
        "tables": tables,
        "days": queries.days_ahead(today, tables),
        "downs": queries.downs_to_come(now),
        "closed_days": queries.closed_to_come(today),
        "absences": queries.absences_to_come(today),
        "added_shifts": queries.added_to_come(today),
        "regular": queries.regular_now(today),
        "offered": offered(the_shop(), today),
        "today": today,
    }
    return render(
        request, "site/calendar.html", {**told, **{f"{k}_form": v for k, v in shown.items()}}
    )


@right(*ANY)
def calendar(request: DeskRequest) -> HttpResponse:
    return _shown(request, _forms())


@right(PLAN)
@require_POST
def change(request: DeskRequest) -> HttpResponse:
    """One of the forms of the page, named by `which`."""
    which = request.POST.get("which", "")
    if which not in CHANGES:
        return redirect("calendar")
    kind, write = CHANGES[which]
    form = kind(request.POST, prefix=which)
    if form.is_valid() and attempt(form, lambda: write(**form.cleaned_data)):
        messages.success(request, _("Kept."))
        return redirect("calendar")
    return _shown(request, {**_forms(), which: form})


@right(PLAN)
@require_POST
def holidays(request: DeskRequest) -> HttpResponse:
    """Closes those of the offered holidays that were ticked."""
    ticked = set(request.POST.getlist("day"))
    chosen = [
        one for one in offered(the_shop(), services.shop_today()) if one.day.isoformat() in ticked
    ]
    if chosen:
        services.days_close(chosen)
        messages.success(request, _("Kept."))
    return redirect("calendar")


def _deed(request: DeskRequest, write: Callable[[], None]) -> HttpResponse:
    try:
        write()
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
    else:
        messages.success(request, _("Kept."))
    return redirect("calendar")


@right(PLAN)
@require_POST
def up(request: DeskRequest, pk: int) -> HttpResponse:
    down = get_object_or_404(TableDown, pk=pk)
    mistake = request.POST.get("do") == "mistake"
    return _deed(request, lambda: services.table_up(down=down, mistake=mistake))


@right(PLAN)
@require_POST
def reopen(request: DeskRequest, pk: int) -> HttpResponse:
    closed = get_object_or_404(ClosedDay, pk=pk)
    return _deed(request, lambda: services.day_open(closed=closed))


@right(PLAN)
@require_POST
def drop(request: DeskRequest, pk: int) -> HttpResponse:
    shift = get_object_or_404(Shift, pk=pk)
    return _deed(request, lambda: services.shift_dropped(shift=shift))


@right(PLAN)
@require_POST
def back(request: DeskRequest, pk: int) -> HttpResponse:
    absence = get_object_or_404(Absence, pk=pk)
    return _deed(request, lambda: services.absence_end(absence=absence))
