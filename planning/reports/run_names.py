"""What runs are called where they are listed."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from planning.calc.dates import DAY, day_time
from planning.inputs.any_of import any_of
from planning.inputs.chunks import among
from shopfloor.models import Run
from shopfloor.site.queries import the_shop


def run_names(runs: Iterable[uuid.UUID]) -> dict[uuid.UUID, tuple[datetime, str]]:
    """When each run began and what it is called."""
    rows = among(
        runs,
        lambda some: Run.objects.filter(**any_of("pk", some)).values_list(
            "pk", "opened_at", "revision__nest__name", "table__name"
        ),
    )
    zone, words = ZoneInfo(the_shop().zone), _("{begun}, {nest} on {table}")
    return {
        pk: (
            at,
            words.format(begun=day_time(at.astimezone(zone), DAY), nest=nest, table=table),
        )
        for pk, at, nest, table in rows
    }
