"""How well a figure is known."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _lazy


class Evidence(models.TextChoices):
    """Where a minute or a count comes from."""

    MEASURED = "measured", _lazy("measured")
    ENTERED = "entered", _lazy("entered")
    PLANNED = "planned", _lazy("planned")
    UNKNOWN = "unknown", _lazy("unknown")
