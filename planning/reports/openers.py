"""Every kind of figure that opens: to the rows it was made from, each of them further, down to
arcs."""

from __future__ import annotations

from functools import partial

from django.utils.translation import gettext as _

from planning.reports import (
    arc,
    change_pays,
    day_figure,
    factor_figure,
    failures,
    job_plan,
    ledger,
    life,
    measure_figures,
    piece,
    plan,
    plates,
    posting,
    promise_figures,
    run_terms,
    square_figure,
    terms,
    today_end,
    today_figures,
    today_lost,
)
from planning.reports.figure import Figure, Opener
from shopfloor.wording.quantity import Right

OPENERS: dict[str, Opener] = {
    **{kind: Opener(partial(ledger.opened, kind), Right.COST) for kind in ledger.SHAPES},
    "posting": Opener(posting.opened, Right.COST),
    "job_plan": Opener(job_plan.opened, Right.COST),
    "job_term": Opener(terms.of_job, Right.COST),
    "month_term": Opener(terms.of_month, Right.COST),
    "month_plate": Opener(plates.of_month, Right.COST),
    "squareness": Opener(square_figure.opened, Right.COST),
    "day": Opener(day_figure.opened),
    "shift": Opener(today_figures.shift),
    "pace": Opener(today_lost.pace),
    "outlook": Opener(today_end.outlook),
    "promise": Opener(promise_figures.promise),
    "load": Opener(promise_figures.load),
    "run": Opener(run_terms.run),
    "run_term": Opener(run_terms.run_term),
    "plan": Opener(plan.opened),
    "piece": Opener(piece.opened),
    "life": Opener(life.opened),
    "failures": Opener(failures.opened),
    "failure_cost": Opener(change_pays.opened, Right.COST),
    "arc": Opener(arc.opened),
    "measure": Opener(measure_figures.opened),
    "factor": Opener(factor_figure.opened),
}


def open_figure(*, kind: str, id: str) -> Figure:
    """Kinds: those of `ledger.SHAPES` by the steps of their path ("2026-10-01:JOB:KIND", job 0 the
    shop); posting, run, run_term ("RUN:TERM"), plan (a nest plan), piece, life and failure_cost
    (a set's part), failures ("WEEKS" or "WEEKS:SET"), arc (its key); job_term ("JOB:TERM"),
    job_plan (JOB); month_term ("2026-10-01:TERM" or with :JOB), month_plate
    ("2026-10-01:MATERIAL:MM:DUTY"), squareness ("2026-10-01:JOB"); shift, pace, outlook
    ("TABLE@US", a moment of today's page), day ("DATE:WHAT" or "DATE:WHAT:TABLE"); measure
    ("FIRST:LAST:TABLE:WHAT"), promise ("JOB@US") and load ("TABLE:DATE@US"), a moment of the page
    of promises, factor ("SET:MATERIAL:MM"). Raises `LookupError` for what does not exist.
    """
    opener = OPENERS.get(kind)
    if opener is None:
        raise LookupError(
            _("nothing of kind {kind!r} opens; one of {openers}").format(
                kind=kind, openers=", ".join(OPENERS)
            )
        )
    try:
        return opener.open(id)
    except (ValueError, OverflowError):  # the ends of the calendar among them
        raise LookupError(_("{kind} {id!r} is not there").format(kind=kind, id=id)) from None


def right_of(kind: str) -> Right:
    """What a person must be allowed to see to open a figure of this kind."""
    return OPENERS[kind].right if kind in OPENERS else Right.COST
