"""Trials: parameters tried on scrap for a metal not cut every day, and what came out."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_POST

from shopfloor.chart.cut_settings import OF_ROW, OF_TRIAL, TRIAL_LISTED, columns
from shopfloor.chart.office.cut_fields import FiguresForm
from shopfloor.chart.queries import row_now, trial_doubts, trials_beside, trials_list
from shopfloor.chart.trials import CAME_OUT, trial_add, trial_promote, trial_strike
from shopfloor.models import ChartRow, ChartTrial, Dross, Material, Table, WearSet
from shopfloor.web.access import ANY, CHART, FLOOR, DeskRequest, may, right
from shopfloor.web.forms import WhenField, attempt, page_of
from shopfloor.wording.cautions import NEW_FIGURES, Caution, metal_caution
from shopfloor.wording.numbers_in import row_number

SET = tuple(each for each in OF_TRIAL if each.trial == "set")
SORTS = (
    "at", "wear_set__current_a", "material__code", "thickness_mm",
    *(column[0].name for column in columns(TRIAL_LISTED)), "dross", "by__last_name",
)  # fmt: skip
MEASURED = tuple(each for each in OF_TRIAL if each.trial == "measured")


class TrialForm(FiguresForm):
    SETTINGS, TRIAL = OF_TRIAL, True
    HINTS = {"u_mm": ""}
    field_order = (
        "wear_set", "material", "thickness_text", "table", "at",
        *(each.name for each in SET), "severed", *(each.name for each in MEASURED),
    )  # fmt: skip
    wear_set = forms.ModelChoiceField(
        WearSet.objects.filter(active=True), label=_lazy("Set"), empty_label=_lazy("choose")
    )
    material = forms.ModelChoiceField(Material.objects.all(), empty_label=_lazy("choose"))
    thickness_text = forms.CharField(
        max_length=40, label=_lazy("Thickness"), help_text=_lazy("16 ga, 1/4 in, 6 mm")
    )
    table = forms.ModelChoiceField(
        Table.objects.filter(active=True), required=False, empty_label=_lazy("not said")
    )
    at = WhenField(required=False, label=_lazy("When"), help_text=_lazy("blank: now"))
    severed = forms.BooleanField(required=False, initial=True, label=_lazy("Cut through"))
    angle_deg = forms.FloatField(
        min_value=-45, max_value=45, required=False, label=_lazy("or angle off square, degrees"),
        help_text=_lazy("u is worked out from it"),
    )  # fmt: skip
    dross = forms.ChoiceField(
        choices=[("", _lazy("not looked at")), *Dross.choices], required=False
    )
    note = forms.CharField(
        max_length=400, required=False, widget=forms.Textarea(attrs={"rows": 3}),
        label=_lazy("What came out"),
    )  # fmt: skip


class PromoteForm(FiguresForm):
    """What a chart row has and a trial has not."""

    SETTINGS = tuple(each for each in OF_ROW if not each.trial)
    HINTS = {"bench_min_per_m": _lazy("blank: as before")}
    field_order = tuple(each.name for each in SETTINGS)
    valid_from = WhenField(
        required=False, label=_lazy("In force from"), help_text=_lazy("blank: now")
    )
    note = forms.CharField(max_length=200, required=False)


@right(*ANY)
def trials(request: DeskRequest) -> HttpResponse:
    material = row_number(request.GET.get("material"))
    return render(
        request, "chart/trials.html",
        {"page_obj": page_of(request, trials_list(material=material), SORTS), "material": material,
         "materials": Material.objects.all(), "columns": columns(TRIAL_LISTED),
         "may_try": may(request.user, CHART, FLOOR),
         "caution": NEW_FIGURES.to_reader()},
    )  # fmt: skip


@right(CHART, FLOOR)
def add(request: DeskRequest) -> HttpResponse:
    form = TrialForm(request.user, request.POST or None, initial=_from(request))
    if request.method == "POST" and form.is_valid():
        made: list[ChartTrial] = []
        plain = ("wear_set", "material", "thickness_text", "table", "at", *CAME_OUT)
        values = {name: form.cleaned_data[name] for name in plain}
        values |= form.figures()
        if attempt(form, lambda: made.append(trial_add(by=request.user, **values))):
            return redirect("trial", made[0].pk)
    return render(
        request, "chart/trial_add.html",
        {"form": form, "new_caution": NEW_FIGURES.to_reader(),
         "cautions": _cautions(Material.objects.exclude(caution=""))},
    )  # fmt: skip


def _from(request: DeskRequest) -> dict[str, Any]:
    """What an earlier trial or a chart row had, to be varied from."""
    trial = ChartTrial.objects.filter(pk=row_number(request.GET.get("trial")) or 0).first()
    if trial is not None:
        kept = _set_on(trial) | {"thickness_text": trial.thickness_text}
        own = {"wear_set": trial.wear_set_id, "material": trial.material_id, "severed": True}
        return kept | own | {"table": trial.table_id}
    row = ChartRow.objects.filter(pk=row_number(request.GET.get("row")) or 0).first()
    if row is None:
        return {"severed": True}
    kept = _set_on(row)
    kept |= {"wear_set": row.wear_set_id, "material": row.material_id, "severed": True}
    return kept | {"thickness_text": row.thickness_text, "current_a": row.wear_set.current_a}


def _set_on(one: ChartTrial | ChartRow) -> dict[str, Any]:
    """What is set for a cut, without what is measured after it."""
    return {each.name: getattr(one, each.name) for each in SET if hasattr(one, each.name)}


def _cautions(materials: Any) -> list[Caution]:
    marks = dict.fromkeys(material.caution for material in materials)
    return [caution for mark in marks if (caution := metal_caution(mark))]


@right(*ANY)
def trial(request: DeskRequest, pk: int) -> HttpResponse:
    """One trial; those who keep the chart make a row of it here."""
    found = get_object_or_404(
        ChartTrial.objects.select_related("wear_set", "material", "table", "by", "row"), pk=pk
    )
    may_edit = may(request.user, CHART)
    if request.method == "POST" and not may_edit:
        raise PermissionDenied
    open_ = may_edit and found.row is None and found.struck_at is None
    form = PromoteForm(request.user, request.POST or None, initial={}) if open_ else None
    if form is not None and request.method == "POST" and form.is_valid():
        told = form.cleaned_data | form.figures()
        made: list[ChartRow] = []
        if attempt(form, lambda: made.append(trial_promote(trial=found, by=request.user, **told))):
            messages.success(request, _("It is a row of the chart; the one before it is kept."))
            return redirect("chart_row", made[0].pk)
    return render(
        request, "chart/trial.html",
        {"trial": found, "form": form, "columns": columns(TRIAL_LISTED),
         "set": SET, "measured": MEASURED, "beside": trials_beside(found),
         "row_now": row_now(found, timezone.now()), "doubts": trial_doubts(found),
         "may_try": may(request.user, CHART, FLOOR), "new_caution": NEW_FIGURES.to_reader(),
         "caution": metal_caution(found.material.caution)},
    )  # fmt: skip


@right(CHART)
@require_POST
def strike(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(ChartTrial, pk=pk)
    try:
        trial_strike(trial=found, why=request.POST.get("why", "")[:200])
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
    return redirect("trial", pk)
