"""One posting opened: what it was booked on, and what was counted for it."""

from __future__ import annotations

from dataclasses import replace

from django.utils.translation import gettext as _

from planning.calc.dates import MONTH, dated
from planning.reports.figure import Figure, Part, Ref
from planning.reports.ledger import HEAVY, RULES, amount_of, kind_label
from shopfloor.models import Posting, RunVariance
from shopfloor.wording.quantity import money, seconds, text


def opened(key: str) -> Figure:
    row = (
        Posting.objects.filter(pk=int(key))
        .select_related("run__revision__nest", "line__job", "piece", "month", "belongs_to", "by")
        .defer(*HEAVY)
        .first()
    )
    if row is None:
        raise LookupError(_("there is no posting {key}").format(key=key))
    page = Ref("cost", f"{row.month.first_day:%Y-%m}")
    if row.line:
        page = Ref("job_cost", str(row.line.job_id))
    return Figure(
        Ref("posting", key),
        kind_label(row.kind),
        money(row.amount_minor, row.evidence),
        RULES.get(row.kind, ""),
        tuple(_parts(row)),
        row.made_at,
        page,
    )


def _parts(row: Posting) -> list[Part]:
    parts = [
        Part(_("Month"), text(dated(row.month.first_day, MONTH))),
        Part(_("Shift date"), text(dated(row.shift_date))),
    ]
    if row.line:
        line = _("{job} line {line}, {part}").format(
            job=row.line.job.number, line=row.line.number, part=row.line.part
        )
        parts.append(Part(_("Booked on"), text(line), Ref("job", str(row.line.job_id))))
    else:
        parts.append(Part(_("Booked on"), text(_("the shop"))))
    if row.run:
        run = Ref("run", str(row.run_id))
        parts.append(Part(_("Run"), text(row.run.revision.nest.name), run))
        parts += _time_behind(row, run)
    if row.piece:
        parts.append(Part(_("Piece"), text(row.piece.label), Ref("piece", str(row.piece_id))))
    if row.quantity is not None:
        parts.append(Part(_("Quantity"), replace(amount_of(row), evidence=row.evidence)))
    parts += _before(row)
    if row.belongs_to:
        parts.append(
            Part(
                _("Belongs to"),
                text(
                    _("{first_day}, closed").format(
                        first_day=dated(row.belongs_to.first_day, MONTH)
                    )
                ),
            )
        )
    if row.cause:
        parts.append(Part(_("Cause"), text(row.cause)))
    if row.why:
        who = row.by.shown_name if row.by else _("worked out")
        parts.append(Part(_("Why"), text(row.why), notes=(who,)))
    return parts


def _before(row: Posting) -> list[Part]:
    """Of an entry that corrects others: each of them, what they summed to, and what stands now."""
    own, _mark, version = row.key.rpartition(":v")
    # By name and not by a range of names: a database may sort them in its own language's order.
    keys = [f"{own}:v{number}" for number in range(1, int(version) if version.isdecimal() else 1)]
    earlier = sorted(
        Posting.objects.filter(key__in=keys).defer(*HEAVY), key=lambda one: (len(one.key), one.key)
    )
    if not earlier:
        return []
    was = sum(one.amount_minor for one in earlier)
    found = [
        Part(
            _("Entry of {day}").format(day=dated(one.shift_date)),
            money(one.amount_minor, one.evidence),
            Ref("posting", str(one.pk)),
        )
        for one in earlier
    ]
    return [
        *found,
        Part(_("Was"), money(was, row.evidence)),
        Part(_("Is now"), money(was + row.amount_minor, row.evidence)),
    ]


def _time_behind(row: Posting, run: Ref) -> list[Part]:
    found = RunVariance.objects.filter(run=row.run_id).first()
    if found is None or found.elapsed_s is None or row.kind not in ("machine", "labour"):
        return []
    return [Part(_("Elapsed time of the run"), seconds(found.elapsed_s, row.evidence), run)]
