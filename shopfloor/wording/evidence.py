"""How well a figure is known."""

from __future__ import annotations

from django.db import models


class Evidence(models.TextChoices):
    """Where a minute or a count comes from."""

    MEASURED = "measured", "measured"
    ENTERED = "entered", "entered"
    PLANNED = "planned", "planned"
    UNKNOWN = "unknown", "unknown"
