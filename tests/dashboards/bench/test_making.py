"""Shops of the gate are as a shop of their age has them."""

from __future__ import annotations

import pytest
from django.db import connection

from dashboards.bench import making, shops
from planning.bench.bigshop.size import Size


def test_a_shop_made_before_is_migrated_and_counted_anew(tmp_path, monkeypatch):
    ran = []
    monkeypatch.setattr(shops, "_run", lambda shop, *words: ran.append((shop.folder, *words)))
    monkeypatch.setattr(shops, "version", lambda: "v")
    monkeypatch.setattr(shops, "_forget", lambda *kept: None)  # a server's other databases stay
    for name in ("two-tables", f"old-{connection.vendor}"):
        (tmp_path / "v" / name).mkdir(parents=True)
        (tmp_path / "v" / name / "bench-ready").touch()
    found = shops.made({"old": Size(1, 1, 42)}, say=print, cache=tmp_path)
    again = ("-m", "dashboards.bench.making", "migrated", "{}")
    assert ran[-1][0] == found["old"].folder
    assert [words for _folder, *words in ran] == [list(again)] * 2


@pytest.mark.django_db
def test_statistics_are_there_once_they_are_made(monkeypatch):
    counted = []

    def seen(execute, sql, params, many, context):
        counted.append(sql)
        return execute(sql, params, many, context)

    monkeypatch.setattr(making, "call_command", lambda *words, **options: None)
    monkeypatch.setattr(making.django, "setup", lambda: None)
    with connection.execute_wrapper(seen):
        making.main("migrated", "{}")
    assert counted[-1] == "ANALYZE"
