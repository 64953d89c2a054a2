"""A removal says its cause by a code, and whether the piece only went with one that failed."""

from __future__ import annotations

from collections import defaultdict
from typing import Any, ClassVar

from django.db import migrations, models

CAUSES = {
    "pit": "pit",
    "out of round": "out_of_round",
    "nick": "nick",
    "double arc": "double_arc",
    "spatter": "spatter",
    "blocked hole": "blocked_hole",
    "moisture": "moisture",
}
SHOWS_ON = {
    "pit": "electrode",
    "out_of_round": "nozzle",
    "nick": "nozzle",
    "double_arc": "nozzle",
    "spatter": "shield",
    "blocked_hole": "swirl_ring",
    "moisture": "electrode",
}


def fill(apps: Any, schema_editor: Any) -> None:
    """Reasons chosen from the screen's list become causes. Of pieces that share an incident in
    which one failed, the one its cause shows on failed, and the others went with it; what became
    of each stays as it was told."""
    fittings = apps.get_model("shopfloor", "Fitting").objects
    for reason, cause in CAUSES.items():
        fittings.filter(removal_reason=reason).update(removal_cause=cause, removal_reason="")
    crashed = fittings.filter(removal_state="crashed", removal_cause="")
    crashed.update(removal_cause="crash")
    together = defaultdict(list)
    shared = fittings.exclude(incident=None).filter(removal_state__in=("failed", "retired"))
    for row in shared.select_related("piece__part").order_by("pk").iterator(chunk_size=2_000):
        together[row.incident].append(row)
    for rows in together.values():
        failed = [row for row in rows if row.removal_state == "failed"]
        if not failed:
            continue
        fits = [row for row in failed if SHOWS_ON.get(row.removal_cause) == row.piece.part.kind]
        own = (fits or failed)[0]
        others = [row.pk for row in rows if row.pk != own.pk]
        fittings.filter(pk__in=others).update(collateral=True)


def back(apps: Any, schema_editor: Any) -> None:
    fittings = apps.get_model("shopfloor", "Fitting").objects
    for reason, cause in CAUSES.items():
        fittings.filter(removal_cause=cause, removal_reason="").update(removal_reason=reason)


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0037_table_time")]

    operations: ClassVar = [
        migrations.AddField(
            "fitting", "removal_cause", models.CharField(blank=True, max_length=12)
        ),
        migrations.AddField("fitting", "collateral", models.BooleanField(default=False)),
        migrations.RunPython(fill, back),
    ]
