"""The example shop's quotes: some of its jobs were quoted and won, others went elsewhere, a few
are still open."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import datetime, timedelta
from random import Random

from django.db.models import Min

from planning.services.quote_history import VALID_DAYS, Offer, quotes_of_history
from shopfloor.models import Contour, Customer, Job, Nest, Run, User

WON = 0.6  # of the jobs that had their sheets to themselves
LOST_A_WON = 0.45
OPEN = 5
WHOLE_MM = 2000.0  # the length of a sheet that nothing was cut from
CHANCES = (0.1, 0.2, 0.2, 0.3)
WHY_LOST = ("price", "delivery", "price", "no answer", "order put off")
WHY_WON = ("price", "delivery", "asked again")


def example_quotes(*, by: str, now: datetime, random: Random) -> int:
    """Stores them as made by the person named; returns how many."""
    made = offers(now=now, random=random)
    return quotes_of_history(offers=made, by=User.objects.get(username=by), now=now)


def offers(*, now: datetime, random: Random) -> list[Offer]:
    """What was offered, in no order. Open ones are still valid."""
    begun = dict(
        Run.objects.order_by().values_list("revision__nest").annotate(first=Min("opened_at"))
    )
    customers = list(Customer.objects.all())
    own = _own_nests()
    found = []
    for job, nests in own:
        runs = [begun[nest.pk] for nest in nests if nest.pk in begun]
        if not runs or random.random() > WON:
            continue
        decided = min(runs) - timedelta(days=random.uniform(2, 9))
        won = replace(_offer(job, nests, decided, random), job=job, why=random.choice(WHY_WON))
        found.append(replace(won, decided_at=decided))
        if random.random() < LOST_A_WON:
            lost = decided - timedelta(days=random.uniform(1, 8))
            offer = _offer(job, nests, lost, random)
            who, why = random.choice(customers), random.choice(WHY_LOST)
            found.append(replace(offer, customer=who, decided_at=lost, why=why))
    for job, nests in own[-OPEN:]:
        found.append(replace(_offer(job, nests, now, random), customer=random.choice(customers)))
    return found


def _offer(job: Job, nests: list[Nest], until: datetime, random: Random) -> Offer:
    """One like a job that was cut: its nests, some weeks before it was decided."""
    return Offer(
        customer=job.customer,
        title=job.title,
        nests=tuple((nest, nest.sheets_wanted) for nest in nests),
        made_at=until - timedelta(days=random.uniform(1, VALID_DAYS - 8)),
        chance=random.choice(CHANCES),
        share=random.uniform(1.02, 1.3),
    )


def _own_nests() -> list[tuple[Job, list[Nest]]]:
    """Jobs whose parts lie on no sheet with another job's, with their nests, the shop's own plate
    only."""
    pairs = Contour.objects.order_by().values_list("line__job", "revision__nest").distinct()
    jobs_of, nests_of = defaultdict(set), defaultdict(set)
    for job, nest in pairs:
        jobs_of[nest].add(job)
        nests_of[job].add(nest)
    shared = {nest for nest, jobs in jobs_of.items() if len(jobs) > 1}
    theirs = set(Run.objects.exclude(sheet__owner=None).values_list("revision__nest", flat=True))
    # Of a nest that has no size a quote counts whole sheets: half of one would be asked too much.
    whole = set(
        Run.objects.filter(sheet__length_mm__gte=WHOLE_MM).values_list("revision__nest", flat=True)
    )
    nests = Nest.objects.select_related("table", "wear_set", "material").in_bulk()
    return [
        (job, [nests[pk] for pk in sorted(nests_of[job.pk])])
        for job in Job.objects.select_related("customer").order_by("pk")
        if nests_of[job.pk] and nests_of[job.pk] <= whole - shared - theirs
    ]
