"""Whose arcs count is kept with the sources themselves, by time (telemetry's `CountedSpan`); the
name of the one that counts now stood here a second time."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0025_action_kind_at")]

    operations: ClassVar = [migrations.RemoveField("table", "arc_feed")]
