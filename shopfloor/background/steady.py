"""Celery's beat by the monotonic clock: its own compares wall times, so that a clock set back by
two hours stops sweeping for as long."""

from __future__ import annotations

import time
from datetime import datetime
from typing import Any

from celery.beat import PersistentScheduler
from celery.schedules import schedstate, schedule


class Every(schedule):
    """Due every so many seconds, and at once where it was last due in the future: the clock has
    been set back since."""

    def is_due(self, last_run_at: datetime) -> Any:
        if last_run_at > self.now():
            return schedstate(is_due=True, next=self.seconds)
        return super().is_due(last_run_at)


class SteadyScheduler(PersistentScheduler):
    """Orders what is due next by the monotonic clock."""

    def _when(self, entry: Any, next_time_to_run: Any, mktime: Any = None) -> float:
        return time.monotonic() + float(self.adjust(next_time_to_run) or 0)
