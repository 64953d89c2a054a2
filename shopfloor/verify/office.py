"""Whether the shop's records agree: the last result, and asking for a new one."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from shopfloor.background.request import request_work
from shopfloor.verify.queries import verification_last, verification_progress, verification_wanted
from shopfloor.web.access import CLOSE, FEEDS, DeskRequest, right
from telemetry.verify.findings import finding_words


@never_cache
@right(FEEDS, CLOSE)
def verification(request: DeskRequest) -> HttpResponse:
    """The page; POST asks for a verification."""
    if request.method == "POST":
        request_work(kind="verify", key="button", payload={"by": request.user.pk})
        messages.success(request, _("It starts in a moment."))
        return redirect("verification")
    last = verification_last()
    findings = [(row, finding_words(row)) for row in last.findings] if last else []
    return render(
        request,
        "verify/verification.html",
        {"last": last, "findings": findings, "progress": verification_progress(),
         "wanted": verification_wanted()},
    )  # fmt: skip
