"""What a reason for a stop counts as is said beside its words."""

from __future__ import annotations

from importlib import import_module

import pytest
from django.apps import apps
from django.urls import reverse

from shopfloor.models import Reason

pytestmark = pytest.mark.django_db


def test_the_page_asks_what_it_is(sign_in, administrator, shop):
    page = sign_in(administrator)
    page.post(reverse("shop"), {"which": "reason", "label": "Nozzle hit a tip-up", "kind": "crash"})
    made = Reason.objects.get()
    assert (made.code, made.kind, made.planned) == ("nozzle-hit-a-tip-up", "crash", False)
    assert "a torch crash" in page.get(reverse("shop")).content.decode()
    page.post(reverse("shop"), {"which": "reason", "label": "No kind", "kind": "other"})
    assert Reason.objects.count() == 1


def test_reasons_of_before_keep_what_they_counted_as():
    for code, planned in (
        ("torch-crash", False), ("crash", False), ("set-change", True), ("shift-change", True),
        ("break", True), ("crane-busy", False),
    ):  # fmt: skip
        Reason.objects.create(code=code, label=code, planned=planned)
    import_module("shopfloor.migrations.0036_reason_kind").fill(apps, None)
    assert dict(Reason.objects.values_list("code", "kind")) == {
        "torch-crash": "crash", "crash": "crash", "set-change": "change",
        "shift-change": "planned", "break": "planned", "crane-busy": "stoppage",
    }  # fmt: skip
