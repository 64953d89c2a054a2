"""One row of the cut chart: its figures, what came before it, the trials beside it, a change."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_POST

from shopfloor.chart.cut_settings import OF_ROW, ROW_NAMES, TRIAL_LISTED, columns
from shopfloor.chart.fit import equal_mm
from shopfloor.chart.office.cut_fields import FiguresForm
from shopfloor.chart.queries import row_doubts_now, row_history, row_trials
from shopfloor.chart.rows import save_row, thickness_answer
from shopfloor.models import ChartRow, Nest
from shopfloor.web.access import ANY, CHART, PLAN, DeskRequest, may, right
from shopfloor.web.forms import WhenField
from shopfloor.web.shown_values import kept_as_shown, shown
from shopfloor.wording.cautions import NEW_FIGURES, metal_caution


class RowForm(FiguresForm):
    SETTINGS = OF_ROW
    field_order = ROW_NAMES
    valid_from = WhenField(required=False, label=_lazy("From"), help_text=_lazy("blank: now"))
    note = forms.CharField(max_length=200, help_text=_lazy("why the row changes"))


def _newest(row: ChartRow) -> ChartRow | None:
    """The row in force, or to be, for the same set, material and thickness; None where all
    ended."""
    same = ChartRow.objects.filter(
        wear_set=row.wear_set, material=row.material, valid_to=None,
        thickness_mm__range=equal_mm(row.thickness_mm),
    )  # fmt: skip
    return same.order_by("-valid_from", "-pk").first()


def _known(row: ChartRow) -> dict[str, Any]:
    return {name: getattr(row, name) for name in ROW_NAMES}


@right(*ANY)
def row(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(ChartRow.objects.select_related("wear_set", "material"), pk=pk)
    may_edit = may(request.user, CHART)
    if request.method == "POST" and not may_edit:
        raise PermissionDenied
    in_force = _newest(found)
    shows = may_edit and (found.valid_to is None or bool(request.method == "POST" and in_force))
    known = _known(in_force or found)
    form = RowForm(request.user, request.POST or None, initial=known) if shows else None
    if form is not None and request.method == "POST" and form.is_valid():
        made: list[ChartRow] = []
        told = form.cleaned_data
        if kept_as_shown(
            request, form, in_force,
            lambda: form.texts_of(_known(_newest(found) or found)),
            lambda: made.append(
                save_row(
                    wear_set=found.wear_set, material=found.material,
                    thickness_text=found.thickness_text,
                    figures=form.figures(),
                    valid_from=told["valid_from"], note=told["note"],
                )
            ),
        ):  # fmt: skip
            messages.success(request, _("Kept. The row before it stays on record."))
            return redirect("chart_row", made[0].pk)
    return render(
        request, "chart/chart_row.html",
        {"row": found, "form": form, "columns": columns(OF_ROW),
         "history": row_history(found), "trials": row_trials(found),
         "trial_columns": columns(TRIAL_LISTED),
         "shown": shown(form, in_force, form.texts_of(known)) if form else "",
         "doubts": row_doubts_now(found), "caution": metal_caution(found.material.caution),
         "new_caution": NEW_FIGURES.to_reader() if form else None},
    )  # fmt: skip


class NearlyForm(forms.Form):
    nest = forms.ModelChoiceField(Nest.objects.all())
    row_mm = forms.FloatField(min_value=0.01, max_value=1000)
    by_row = forms.ChoiceField(choices=[("yes", ""), ("no", "")])


@right(PLAN)
@require_POST
def near_thickness(request: DeskRequest) -> HttpResponse:
    """Whether a nest's plate is cut by the row of another of nearly its thickness."""
    form = NearlyForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Nothing was kept: that question is no longer there."))
        return redirect("nests")
    nest, told = form.cleaned_data["nest"], form.cleaned_data
    thickness_answer(
        material=nest.material, thickness_mm=nest.thickness_mm, row_mm=told["row_mm"],
        by_row=told["by_row"] == "yes", by=request.user,
    )  # fmt: skip
    messages.success(request, _("Remembered for every nest of this thickness."))
    return redirect("nest", nest.pk)
