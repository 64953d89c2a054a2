"""Undoing a job list that was brought in, as one thing: what nothing was made from goes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Model
from django.utils.translation import gettext as _

from shopfloor.audit.actor import acting
from shopfloor.audit.history import row_key
from shopfloor.jobs.services import LINE_HELD
from shopfloor.models import Change, Customer, Job, JobLine, JobList, User


@dataclass(slots=True)
class Undoing:
    """What undoing a list takes away, and what stays, each with its reason."""

    lines: list[JobLine] = field(default_factory=list)
    jobs: list[Job] = field(default_factory=list)
    customers: list[Customer] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)


def import_undoing(job_list: JobList) -> Undoing:
    """What could be undone now. Writes nothing."""
    found = Undoing()
    lines = list(job_list.lines.select_related("job").order_by("job__number", "number"))
    held = _held_lines(lines)
    jobs = list(job_list.jobs.prefetch_related("lines").select_related("customer"))
    changed = _changed(Job, jobs)
    staying = {job.pk: why for job in jobs if (why := _held_job(job, changed))}
    for line in lines:
        why = held.get(line.pk) or (_("its job stays") if line.job_id in staying else "")
        if why:
            found.kept.append(
                _("Line {line} of {job}, {part}: {why}.").format(
                    line=line.number, job=line.job.number, part=line.part, why=why
                )
            )
        else:
            found.lines.append(line)
    going = {line.pk for line in found.lines}
    for job in jobs:
        rest = [line for line in job.lines.all() if line.pk not in going]
        why = staying.get(job.pk) or (_("it has lines that stay") if rest else "")
        if why:
            found.kept.append(_("Job {job}: {why}.").format(job=job.number, why=why))
        else:
            found.jobs.append(job)
    found.customers = _unused(job_list, {job.pk for job in found.jobs})
    return found


@transaction.atomic
def import_undo(*, job_list: JobList, by: User, why: str, now: datetime) -> Undoing:
    """Takes away what nothing was made from; the audit trail keeps it. Raises ValidationError
    where it was undone before or nothing of it can go."""
    job_list = JobList.objects.select_for_update(of=("self",)).get(pk=job_list.pk)
    if job_list.undone_at is not None:
        raise ValidationError(_("This list was already undone."))
    list(JobLine.objects.select_for_update(of=("self",)).filter(job_list=job_list))
    found = import_undoing(job_list)
    if not found.lines and not found.jobs:
        raise ValidationError(_("Nothing on this list can be undone any more."))
    with acting(f"user:{by.get_username()}", why=why):
        _delete(JobLine, found.lines)
        _delete(Job, found.jobs)
        _delete(Customer, found.customers)
        if not found.kept:
            job_list.undone_at, job_list.undone_by = now, by
            job_list.save(update_fields=["undone_at", "undone_by"])
    return found


def _delete(model: type[Model], rows: Iterable[Model]) -> None:
    pks = [row.pk for row in rows]
    for at in range(0, len(pks), 500):
        model._default_manager.filter(pk__in=pks[at : at + 500]).delete()


def _held_lines(lines: list[JobLine]) -> dict[int, str]:
    """By line: why it stays."""
    pks = [line.pk for line in lines]
    held = dict.fromkeys(_changed(JobLine, lines), _("somebody changed it after the import"))
    for at in range(0, len(pks), 500):
        some = JobLine.objects.filter(pk__in=pks[at : at + 500])
        for name, what in LINE_HELD.items():
            tied = some.exclude(**{name: None}).values_list("pk", flat=True).distinct()
            held |= dict.fromkeys(tied, _(what))
    return held


def _held_job(job: Job, changed: set[int]) -> str:
    if job.pk in changed:
        return _("somebody changed it after the import")
    for relation in Job._meta.related_objects:
        if relation.related_model is JobLine:
            continue
        if relation.related_model._default_manager.filter(job=job).exists():
            return _("it has a {verbose_name}").format(
                verbose_name=relation.related_model._meta.verbose_name
            )
    return ""


def _changed(model: type[Model], rows: Iterable[Model]) -> set[int]:
    """Which of these rows a person changed after they were made."""
    keys = {row_key(model, row.pk): int(row.pk) for row in rows}
    found: set[int] = set()
    names = list(keys)
    for at in range(0, len(names), 500):
        changes = Change.objects.filter(
            table=model._meta.db_table, row__in=names[at : at + 500], operation="update",
            who__startswith="user:",
        )  # fmt: skip
        found |= {keys[name] for name in changes.values_list("row", flat=True).distinct()}
    return found


def _unused(job_list: JobList, going: set[int]) -> list[Customer]:
    """Customers that came with the list and have nothing else."""
    found = []
    for customer in Customer.objects.filter(pk__in=job_list.customers):
        rows = [
            relation.related_model._default_manager.filter(**{relation.field.name: customer})
            for relation in Customer._meta.related_objects
        ]
        left = [own.exclude(pk__in=going) if own.model is Job else own for own in rows]
        if not any(own.exists() for own in left):
            found.append(customer)
    return found
