"""Background work: what waits, what was set aside, and trying it again."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from shopfloor.background.again import work_dismiss, work_retry
from shopfloor.background.queries import work_failed, work_waiting
from shopfloor.models import Work
from shopfloor.web.access import DeskRequest, administrator
from shopfloor.web.forms import page_of


@administrator
def work(request: DeskRequest) -> HttpResponse:
    waiting = work_waiting()
    return render(
        request,
        "background/work.html",
        {"page_obj": page_of(request, work_failed()), "waiting": waiting[:20],
         "waiting_count": waiting.count()},
    )  # fmt: skip


@administrator
@require_POST
def act(request: DeskRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Work, pk=pk)
    if request.POST.get("do") == "retry":
        work_retry(work=row)
    elif request.POST.get("do") == "dismiss":
        work_dismiss(work=row)
    return redirect("work")
