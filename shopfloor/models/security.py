"""What the security log keeps."""

from __future__ import annotations

from django.db import models


class SecurityEvent(models.Model):
    """One thing that touches who gets in and what they may do. Names stand as text, so that the
    log stands alone; it never holds a password, a PIN or a token, nor a name that nobody has.

    What an attack can repeat is counted: one row of a kind, an address and a minute (`minute`, of
    the Unix clock; blank for what is not counted). Triggers let nobody change or delete a row
    while it is kept, but count it up (`shopfloor.audit.kept`)."""

    kind = models.CharField(max_length=24)
    first_at = models.DateTimeField()
    last_at = models.DateTimeField(db_index=True)
    minute = models.BigIntegerField(null=True, blank=True)
    address = models.CharField(max_length=64, blank=True)
    count = models.PositiveIntegerField(default=1)
    about = models.CharField(max_length=400, blank=True)  # user names between commas: ,ann,milo,
    by = models.CharField(max_length=160, blank=True)  # as on the audit trail
    text = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "minute", "address"], name="security_counted_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.last_at:%Y-%m-%d %H:%M}Z"


class SecurityNotice(models.Model):
    """An event the owner is told of until somebody who owns the shop marks it seen."""

    event = models.OneToOneField(SecurityEvent, on_delete=models.CASCADE, related_name="notice")
    seen_at = models.DateTimeField(null=True, blank=True)
    seen_by = models.ForeignKey(
        "shopfloor.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    def __str__(self) -> str:
        return f"notice of {self.event_id}"
