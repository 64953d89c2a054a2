"""Alarms for clocks that moved: a source's own, or the host's."""

from __future__ import annotations

from telemetry.clockwatch import ClockJump
from telemetry.models import Alarm, Feed
from telemetry.selectors import iso

SOURCE, HOST = "clock jump", "host clock"


def clock_alarm(feed: Feed, jump: ClockJump) -> None:
    """The stamps of a source moved against arrival: a person must say from when they are wrong."""
    way = "back" if jump.by_us > 0 else "forward"
    Alarm.objects.create(
        feed=feed, code=SOURCE, at_us=jump.at_us,
        message=f"its clock went {way} by {abs(jump.by_us) / 1e6:.0f} s at {iso(jump.at_us)[:19]}Z",
    )  # fmt: skip


def host_clock_alarm(moved_us: int | None, now_us: int) -> None:
    """Durations come from the monotonic clock; what came from arrival may be off by this much."""
    if moved_us is None:
        return
    way = "forward" if moved_us > 0 else "back"
    Alarm.objects.create(
        feed=None, code=HOST, at_us=now_us,
        message=f"this machine's clock went {way} by {abs(moved_us) / 1e6:.0f} s, or it slept",
    )  # fmt: skip
