"""A sheet kept for one nest and scanned for another."""

from __future__ import annotations

from shopfloor.models import QueueItem
from tests.shopfloor.floor_shop import MINUTE, T0


def test_a_promised_sheet_asks_why_and_is_then_nobody_elses(floor):
    kept = floor.queue(floor.nest("N-2"), floor.sheet("S-9"))
    item = floor.queue(floor.nest("N-1"))
    refused = floor.do("start", T0, queue_item=item.pk, sheet="S-9")
    assert (refused.state, refused.result["ask"]) == ("refused", "swap_reason")
    assert refused.result["message"] == "Sheet S-9 is promised to N-2 on North."
    started = floor.do("start", T0 + MINUTE, queue_item=item.pk, sheet="S-9", swap_reason="rush")
    assert started.state == "applied"
    assert QueueItem.objects.get(pk=kept.pk).sheet is None
    floor.done("undo", T0 + 2 * MINUTE, action=str(started.pk))
    assert QueueItem.objects.get(pk=kept.pk).sheet.code == "S-9"


def test_its_own_sheet_asks_nothing(floor):
    item = floor.queue(floor.nest("N-1"), floor.sheet("S-9"))
    assert floor.done("start", T0, queue_item=item.pk, sheet="S-9")["sheet"] == "S-9"
    assert QueueItem.objects.get(pk=item.pk).sheet.code == "S-9"
