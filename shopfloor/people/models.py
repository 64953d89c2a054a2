"""People, the screens they use, and what the sign-ins leave."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.people.rights import TABLE
from shopfloor.people.rights import Role as Role


class Units(models.TextChoices):
    METRIC = "metric", _lazy("metric")
    INCH = "inch", _lazy("inch")


class User(AbstractUser):
    """A person. The role fills the groups; the rights themselves are the permissions below, so
    a shop can give one person cost without wages."""

    role = models.CharField(max_length=16, default=Role.OPERATOR)
    badge = models.CharField(max_length=40, null=True, blank=True, unique=True)
    pin_hash = models.CharField(max_length=256, blank=True)
    pin_failures = models.PositiveSmallIntegerField(default=0)
    pin_locked_until = models.DateTimeField(null=True, blank=True)
    units = models.CharField(max_length=8, default=Units.METRIC)
    theme = models.CharField(max_length=8, blank=True)  # light, dark, or blank for the device's own
    needs_countersign = models.BooleanField(default=False)  # their first pieces take a second badge

    class Meta(AbstractUser.Meta):
        permissions = [(code, does) for code, does, _ in TABLE]

    @property
    def shown_name(self) -> str:
        return self.get_full_name() or self.username

    @property
    def shown_role(self) -> str:
        """What the person is to others. A superuser's role says nothing: they may do all."""
        return (
            _("every right")
            if self.is_superuser
            else str(dict(Role.choices).get(self.role, self.role))
        )


class Terminal(models.Model):
    """A registered shared screen beside a table. Its token is kept only as a hash."""

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    table = models.ForeignKey(
        "shopfloor.Table", on_delete=models.PROTECT, null=True, blank=True, related_name="terminals"
    )
    token_hash = models.CharField(max_length=128, blank=True)
    code_hash = models.CharField(max_length=64, blank=True, db_index=True)  # `screen_codes`
    code_ends_at = models.DateTimeField(null=True, blank=True)
    idle_minutes = models.PositiveSmallIntegerField(default=5)
    active = models.BooleanField(default=True)
    clock_offset_ms = models.BigIntegerField(null=True, blank=True)
    last_seen_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class ScreenSignIn(models.Model):
    """One person's stay at one screen beside one table; entries made there carry its number,
    signed. No time clock: rows go once nothing that was entered then can still arrive."""

    person = models.ForeignKey(
        "shopfloor.User", on_delete=models.CASCADE, related_name="screen_sign_ins"
    )
    terminal = models.ForeignKey(Terminal, on_delete=models.CASCADE, related_name="sign_ins")
    table = models.ForeignKey("shopfloor.Table", on_delete=models.CASCADE, related_name="+")
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.CharField(max_length=10, blank=True)  # a SignInEnd

    class Meta:
        indexes = [models.Index(fields=["terminal", "table", "ended_at"])]

    def __str__(self) -> str:
        return f"{self.person} at {self.terminal}"


class SignInEnd(models.TextChoices):
    """Why a stay at a screen ended. After the first two what was entered before still counts."""

    SIGNED_OUT = "signed_out", _lazy("signed out")
    MOVED = "moved", _lazy("the screen was moved to another table")
    PIN = "pin", _lazy("the PIN was changed")
    RIGHTS = "rights", _lazy("the person may not work at a table any more")
    WITHDRAWN = "withdrawn", _lazy("the screen was withdrawn")


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


class Throttle(models.Model):
    """How often something was tried under one key. `key` is a hash: what was typed is not kept."""

    key = models.CharField(max_length=64, unique=True)
    times = models.PositiveIntegerField()
    ends_us = models.BigIntegerField(db_index=True, help_text=_lazy("forgotten from then on"))

    def __str__(self) -> str:
        return f"{self.key[:8]}: {self.times}"
