"""The form that completes a run nobody finished at the table."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from shopfloor.errors import FloorError
from shopfloor.models import JobLine, Run, Segment, Sheet, SheetState, User, WearSet
from shopfloor.runs.complete import run_complete
from shopfloor.runs.matching_input import UNDONE
from shopfloor.runs.part_counts import by_line, parts_of_run
from shopfloor.runs.parts import CAUSES, OUTCOMES
from shopfloor.stock.plate_fit import plate_unfit, plates_like
from shopfloor.web.access import ASSIGN, DeskRequest, right
from shopfloor.web.forms import attempt
from shopfloor.wording.clock import when


class SheetChoice(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, obj: Any) -> str:
        return (
            _("{obj}, heat {heat}").format(obj=obj.code, heat=obj.heat)
            if obj.heat
            else _("{obj}, heat unknown").format(obj=obj.code)
        )


class CompleteForm(forms.Form):
    """One set for each stretch, then sheet, heat and operator, then three counts for each line."""

    def __init__(self, run: Run, data: Any = None) -> None:
        super().__init__(data)
        self.segments = list(run.segments.exclude(end_reason=UNDONE).select_related("torch"))
        for segment in self.segments:
            self.fields[f"set_{segment.pk}"] = _set_field(segment)
        self._what(run)
        found = by_line(parts_of_run(run))
        self.lines = list(JobLine.objects.filter(pk__in=found).select_related("job").order_by("pk"))
        for line in self.lines:
            self._counts(line, found[line.pk])

    def _what(self, run: Run) -> None:
        nest = run.revision.nest
        free = Sheet.objects.filter(plates_like(nest), state=SheetState.IN_STOCK)
        serve = [one.pk for one in free if not plate_unfit(one, run.revision, nest)]
        sheets = Sheet.objects.filter(Q(pk__in=serve) | Q(pk=run.sheet_id)).select_related("heat")
        self.fields["sheet"] = SheetChoice(
            sheets, required=False, initial=run.sheet_id, empty_label=_("not known")
        )
        self.fields["heat"] = forms.CharField(
            max_length=60, required=False, help_text=_("Where the sheet has none yet")
        )
        people = User.objects.filter(is_active=True).order_by("last_name", "username")
        first = next((one.operator_id for one in self.segments if one.operator_id), None)
        self.fields["operator"] = _People(
            people, required=False, initial=first, empty_label=_("not known")
        )

    def _counts(self, line: JobLine, most: int) -> None:
        named = f"{line.job.number}/{line.number} {line.part}"
        for outcome in OUTCOMES:
            good = outcome == "good"
            self.fields[f"{outcome}_{line.pk}"] = forms.IntegerField(
                min_value=0, max_value=most, required=good, label=f"{named}: {outcome}",
                help_text=_("of {most} on the sheet").format(most=most) if good else "",
            )  # fmt: skip
        self.fields[f"cause_{line.pk}"] = forms.ChoiceField(
            choices=[("", _("none")), *((one, _(one)) for one in CAUSES)], required=False,
            label=_("{named}: why not good").format(named=named),
        )  # fmt: skip

    def parts(self) -> list[dict[str, Any]]:
        said = self.cleaned_data
        return [
            {"line": line.pk, "cause": said[f"cause_{line.pk}"]}
            | {outcome: said[f"{outcome}_{line.pk}"] or 0 for outcome in OUTCOMES}
            for line in self.lines
        ]

    def sets(self) -> dict[int, WearSet]:
        return {one.pk: self.cleaned_data[f"set_{one.pk}"] for one in self.segments}


class _People(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, obj: Any) -> str:
        return str(obj.shown_name)


def _set_field(segment: Segment) -> forms.Field:
    return forms.ModelChoiceField(
        WearSet.objects.order_by("code"),
        initial=segment.wear_set_id,
        empty_label=None,
        label=_("Set in torch {torch} from {started_at}").format(
            torch=segment.torch.code, started_at=when(segment.started_at)
        ),
    )


@right(ASSIGN)
def complete(request: DeskRequest, pk: UUID) -> HttpResponse:
    rows = Run.objects.select_related("revision__nest", "table", "sheet")
    run = get_object_or_404(rows.defer("revision__program"), pk=pk)
    form = CompleteForm(run, request.POST or None)
    sent = request.method == "POST" and form.is_valid()
    if sent and attempt(form, lambda: _keep(request, run, form)):
        messages.success(request, _("The run is finished and its parts are counted."))
        return redirect("run", run.pk)
    context = {
        "form": form, "heading": _("Complete {nest}").format(nest=run.revision.nest.name),
        "sub": f"{run.table.name}, {when(run.opened_at)}", "submit": _("Finish the run"),
        "back": "run", "back_pk": run.pk,
    }  # fmt: skip
    return render(request, "web/form.html", context)


def _keep(request: DeskRequest, run: Run, form: CompleteForm) -> None:
    said = form.cleaned_data
    try:
        run_complete(
            run_id=run.pk, parts=form.parts(), sets=form.sets(), sheet=said["sheet"],
            heat=said["heat"].strip(), operator=said["operator"], by=request.user,
            now=timezone.now(),
        )  # fmt: skip
    except FloorError as problem:
        raise ValidationError(f"{problem.message} {problem.hint}".strip()) from problem
