"""What `verify` found is kept with its values and said in the language of whoever reads."""

from __future__ import annotations

from django.utils import timezone

from shopfloor.models import Verification
from telemetry.said import said, said_of_many
from telemetry.verify.findings import Finding, listed


def test_a_finding_is_said_in_the_readers_language(client, owner, made_up):
    problem = said("has no sum")
    examples = listed([said("{at}: {problem}", at="10:00", problem=problem)], 3)
    text = said_of_many(
        "{number} sum: {examples}", "{number} sums: {examples}", 3, examples=examples
    )
    kept = Finding("sums differ", "north", text).as_json()
    assert kept["text"] == "3 sums: 10:00: has no sum; and 2 more"
    old = {"what": "sums differ", "where": "north", "text": "As it was kept before.", "fault": True}
    client.force_login(owner)
    Verification.objects.create(
        asked="button", started_at=timezone.now(), ended_at=timezone.now(), faults=2,
        findings=[kept, old],
    )  # fmt: skip
    page = client.get("/sources/verify/").content.decode()
    assert "3 ⟦sums:⟧ 10:00: ⟦has no sum⟧⟦; and⟧ 2 ⟦more⟧" in page
    assert "⟦sums differ⟧" in page
    assert "As it was kept before." in page
