from __future__ import annotations

import pytest
from django.db import connection
from django.utils import timezone

from planning.tasks import verify
from shopfloor.models import Verification


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL counts by itself")
def test_each_night_sqlite_counts_what_its_planner_goes_by(shop):
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")  # makes its table where nothing was counted yet
        cursor.execute("DELETE FROM sqlite_stat1")
        verify()
        cursor.execute("SELECT tbl FROM sqlite_stat1")
        assert ("shopfloor_shift",) in cursor.fetchall()
        cursor.execute("DELETE FROM sqlite_stat1")
        Verification.objects.create(asked="night", started_at=timezone.now())
        verify()  # once a night
        cursor.execute("SELECT count(*) FROM sqlite_stat1")
        assert cursor.fetchone() == (0,)
