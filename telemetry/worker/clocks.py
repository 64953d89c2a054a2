"""Alarms for clocks that moved: a source's own, or the host's."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from telemetry.clockwatch import ClockJump
from telemetry.models import Alarm, Feed
from telemetry.selectors import iso

SOURCE, HOST = N_("clock jump"), N_("host clock")


def clock_alarm(feed: Feed, jump: ClockJump) -> None:
    """The stamps of a source moved against arrival: a person must say from when they are wrong."""
    words = (
        _("its clock went back by {seconds:.0f} s at {at}")
        if jump.by_us > 0
        else _("its clock went forward by {seconds:.0f} s at {at}")
    )
    message = words.format(seconds=abs(jump.by_us) / 1e6, at=f"{iso(jump.at_us)[:19]}Z")
    Alarm.objects.create(feed=feed, code=SOURCE, at_us=jump.at_us, message=message)


def host_clock_alarm(moved_us: int | None, now_us: int) -> None:
    """Durations come from the monotonic clock; what came from arrival may be off by this much."""
    if moved_us is None:
        return
    words = (
        _("this machine's clock went forward by {seconds:.0f} s, or it slept")
        if moved_us > 0
        else _("this machine's clock went back by {seconds:.0f} s, or it slept")
    )
    message = words.format(seconds=abs(moved_us) / 1e6)
    Alarm.objects.create(feed=None, code=HOST, at_us=now_us, message=message)
