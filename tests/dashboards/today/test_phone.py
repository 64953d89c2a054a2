"""On a phone what is late stands before the tables."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from shopfloor.jobs.services import job_add, line_add

pytestmark = pytest.mark.django_db


def test_what_is_late_comes_first(north, client, supervisor):
    from shopfloor.models import Material

    steel = Material.objects.create(
        code="A36", name="Mild steel A36", family="mild steel", density_kg_m3=7850
    )
    for n in range(7):
        due = timezone.now() - timedelta(days=n + 1)
        job = job_add(number=f"L-{n}", customer="Oxlode Bridge", title="Plates", due_at=due)
        line_add(job=job, part="p", quantity=1, material=steel, thickness_text="1/4 in")
    client.force_login(supervisor)
    text = client.get(reverse("today")).content.decode()
    late = text.index('class="late only-phone"')
    assert late < text.index('class="lede"')
    part = text[late : text.index("</ul>", late)]
    assert re.findall(r"L-\d", part) == ["L-6", "L-5", "L-4"]
    assert "4 more late jobs" in part


def test_nothing_late_says_nothing(north, client, supervisor):
    client.force_login(supervisor)
    assert "Late:" not in client.get(reverse("today")).content.decode()
