"""What an import did, in one sentence."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from planning.calc.numbers import written
from shopfloor.jobs.import_list import ImportPlan
from shopfloor.wording.counts import count


def import_told(plan: ImportPlan) -> str:
    """Jobs and lines that are new, lines there already, rows left out."""
    done = {
        "jobs": count(plan.new_jobs, "{n} new job", "{n} new jobs"),
        "lines": count(plan.new_lines, "{n} new line", "{n} new lines"),
        "rows": count(len(plan.faults), "{n} row", "{n} rows"),
        "known": written(plan.known_lines, ","),
    }
    if not plan.known_lines:
        return _("{jobs}, {lines}; {rows} left out.").format(**done)
    return ngettext(
        "{jobs}, {lines}, {known} line was there already; {rows} left out.",
        "{jobs}, {lines}, {known} lines were there already; {rows} left out.",
        plan.known_lines,
    ).format(**done)
