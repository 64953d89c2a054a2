"""Failed attempts, counted for a while."""

from __future__ import annotations

from django.db import models


class Throttle(models.Model):
    """How often something was tried under one key. `key` is a hash: what was typed is not kept."""

    key = models.CharField(max_length=64, unique=True)
    times = models.PositiveIntegerField()
    ends_us = models.BigIntegerField(db_index=True, help_text="forgotten from then on")

    def __str__(self) -> str:
        return f"{self.key[:8]}: {self.times}"
