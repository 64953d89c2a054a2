"""Keeping what the headings of a job list mean, by name, for the next list of the kind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.db import transaction
from django.utils import timezone

from shopfloor.files.read_list import Heading
from shopfloor.jobs.headings import known
from shopfloor.models import HeadingMap


def heading_map_for(headings: Sequence[Heading]) -> HeadingMap | None:
    """The one kept last under which all these headings are known."""
    rows = HeadingMap.objects.order_by("-at")
    return next((row for row in rows if known(headings, row.meaning)), None)


@transaction.atomic
def heading_map_keep(*, name: str, meaning: Mapping[str, str]) -> HeadingMap:
    """Keeps a meaning under a name; one of that name is replaced."""
    values = {"meaning": dict(meaning), "at": timezone.now()}
    return HeadingMap.objects.update_or_create(name=" ".join(name.split())[:60], defaults=values)[0]
