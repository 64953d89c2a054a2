"""The shop's own factors: proposals, what holds, and the plan's error before and after."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_POST, require_safe

from dashboards import data
from dashboards.access import desk
from planning.calc.numbers import filled
from planning.calc.said import to_reader, told
from planning.reports.factors import FactorBoard
from planning.services.factor_summary import factors_want
from planning.services.factors import FactorError, factor_answer
from shopfloor.web.access import CHART, may

DONE = {
    "accept": N_("It is in use from now on; its nests are being planned again."),
    "decline": N_("It is declined and comes back only when the figure moves."),
    "end": N_("It has ended; plans are bare again."),
}


@desk()
@require_safe
def board(request: HttpRequest) -> HttpResponseBase:
    found = data.factor_board(data.now())
    user: Any = request.user
    context = {
        "found": found,
        "back": found.back,
        "lede": lede(found),
        "waiting": [row for row in found.rows if row.proposed],
        "may_edit": may(user, CHART),
    }
    return render(request, "kerfbook/factors.html", context)


@desk(CHART)
@require_POST
def propose(request: HttpRequest) -> HttpResponseBase:
    factors_want(propose=True)
    messages.success(request, _("They are being worked out. What is new is proposed here shortly."))
    return redirect("factors")


@desk(CHART)
@require_POST
def answer(request: HttpRequest, factor_id: int) -> HttpResponseBase:
    said, why = request.POST.get("do", ""), request.POST.get("why", "")
    user: Any = request.user
    try:
        factor_answer(factor_id=factor_id, answer=said, by=user, why=why, now=data.now())
    except FactorError as refused:
        messages.error(request, to_reader(told(refused), inch=False))
    else:
        messages.success(request, _(DONE[said]))
    return redirect("factors")


def lede(found: FactorBoard) -> str:
    """How far off the plan is, and what a factor would make of it."""
    if found.computed_at is None:
        return _("What runs take against their plan is being worked out and will be here soon.")
    if found.not_enough is not None:
        return _("How far plans are off is not known yet: {not_enough}.").format(
            not_enough=found.not_enough
        )
    back = found.back
    if back is None:
        return _("Runs of two months are needed to tell how far plans are off.")
    before, after = back.before, back.after
    change = "to" if after.median < before.median else _("which factors would not better:")
    return filled(
        _(
            "Half of {n:,} runs were more than {before:.1f} % off their plan; with "
            "factors learnt from the other months {change} {after:.1f} %."
        ),
        n=before.n,
        before=before.median * 100,
        change=change,
        after=after.median * 100,
    )
