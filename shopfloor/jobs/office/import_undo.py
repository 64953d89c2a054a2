"""Undoing a job list that was brought in."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.jobs.import_undo import Undoing, import_undo, import_undoing
from shopfloor.models import JobList
from shopfloor.web.access import PLAN, DeskRequest, right
from shopfloor.web.forms import attempt
from shopfloor.wording.counts import count


class UndoForm(forms.Form):
    why = forms.CharField(max_length=200, label=_lazy("Why"))


@right(PLAN)
def undo(request: DeskRequest, pk: int) -> HttpResponse:
    """Shows what goes and what stays; a reason undoes it."""
    job_list = get_object_or_404(JobList.objects.select_related("by", "undone_by"), pk=pk)
    form = UndoForm(request.POST or None)
    done: list[Undoing] = []
    if request.method == "POST" and form.is_valid():

        def write() -> None:
            why = form.cleaned_data["why"]
            done.append(
                import_undo(job_list=job_list, by=request.user, why=why, now=timezone.now())
            )

        if attempt(form, write):
            messages.success(request, _said(job_list, done[0]))
            return redirect("job_import")
    context = {"list": job_list, "form": form, "undoing": import_undoing(job_list)}
    return render(request, "jobs/job_import_undo.html", context)


def _said(job_list: JobList, undone: Undoing) -> str:
    done = {
        "list": job_list.name,
        "lines": count(len(undone.lines), "{n} line", "{n} lines"),
        "jobs": count(len(undone.jobs), "{n} job", "{n} jobs"),
        "kept": " ".join(undone.kept[:5]),
    }
    if undone.kept:
        return _("{list}: {lines} and {jobs} removed. Still there: {kept}").format(**done)
    return _("{list}: {lines} and {jobs} removed.").format(**done)
