"""What a screen sent."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _lazy


class ActionState(models.TextChoices):
    APPLIED = "applied", _lazy("applied")
    CONFLICT = "conflict", _lazy("conflict")
    REFUSED = "refused", _lazy("refused")
    UNDONE = "undone", _lazy("undone")


class Action(models.Model):
    """The envelope of everything done on the floor: made on the device with its own UUID, so a
    delivery repeated after a network drop is applied once. `at` is the device's time corrected by
    the terminal's offset; both raw values stay."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=40)
    payload = models.JSONField(default=dict)
    terminal = models.ForeignKey(
        "shopfloor.Terminal", on_delete=models.PROTECT, null=True, blank=True
    )
    person = models.ForeignKey("shopfloor.User", on_delete=models.PROTECT, related_name="actions")
    device_at = models.DateTimeField()
    device_offset_ms = models.BigIntegerField(default=0)
    received_at = models.DateTimeField(default=timezone.now)
    at = models.DateTimeField()
    state = models.CharField(max_length=10, default=ActionState.APPLIED)
    result = models.JSONField(default=dict)
    flag = models.CharField(max_length=10, blank=True)  # a SignInEnd: it came in after that
    decided_at = models.DateTimeField(null=True, blank=True)  # of a conflict
    undoes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="undone_by"
    )

    class Meta:
        indexes = [
            models.Index(fields=["terminal", "-at"]),
            models.Index(fields=["state"]),
            models.Index(fields=["kind", "at"], name="action_kind_at"),
            models.Index(fields=["flag", "received_at"], name="action_flag_at"),
            models.Index(
                fields=["-received_at"],
                condition=models.Q(decided_at__isnull=False),
                name="action_decided",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.at:%Y-%m-%d %H:%M:%S}Z"
