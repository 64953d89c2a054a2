"""An upload is kept for the form it was given to, for a day."""

from __future__ import annotations

import os
import time

import pytest
from django.urls import reverse

from shopfloor.files.uploads import INCOMING, KEPT_S, upload_keep, upload_path, upload_read
from shopfloor.models import ChartRow, Drawing, Incoming, Job

pytestmark = pytest.mark.django_db
FORMS = ("drawing", "chart", "jobs", "incoming")
CONFIRMS = {
    "jobs": ("job_import_confirm", {"name": "l.csv", "encoding": "utf-8", "date_order": "ymd"}),
    "chart": ("chart_import_confirm", {}),
}
SHOWN = {
    "drawing_add": {"name": "base", "thickness_text": "6 mm", "unit": "mm", "gap_mm": "0.05",
                    "file_name": "base.dxf", "do": "keep"},
}  # fmt: skip
JOBS = b"job,part,quantity\nA-1,base,3\n"


@pytest.mark.parametrize("form", CONFIRMS)
@pytest.mark.parametrize("other", FORMS)
def test_the_digest_of_another_form_is_refused_in_words(administrator, sign_in, form, other):
    if form == other:
        return
    administrator.is_superuser = True
    administrator.save()
    name, more = CONFIRMS[form]
    digest = upload_keep(JOBS, other)
    client = sign_in(administrator)
    reply = client.post(reverse(name), {"digest": digest, **more}, follow=True)
    assert reply.status_code == 200
    assert "no longer kept. Nothing was saved." in reply.content.decode()
    assert [model.objects.count() for model in (Job, ChartRow, Incoming)] == [0, 0, 0]


@pytest.mark.parametrize("other", ["chart", "jobs", "incoming"])
def test_the_drawing_form_takes_no_digest_of_another(planner, sign_in, steel, other):
    digest = upload_keep(JOBS, other)
    sent = SHOWN["drawing_add"] | {"digest": digest, "material": steel.pk}
    reply = sign_in(planner).post(reverse("drawing_add"), sent)
    assert reply.status_code == 200
    assert reply.context["form"].errors["file"] == ["Choose a drawing."]
    assert not Drawing.objects.exists()


def test_what_nobody_confirms_goes_after_a_day(settings):
    old = time.time() - KEPT_S - 60
    left, waits = upload_keep(b"left", "jobs"), upload_keep(b"waits", INCOMING)
    again, young = upload_keep(b"again", "chart"), upload_keep(b"young", "drawing")
    for digest, form in ((left, "jobs"), (waits, INCOMING), (again, "chart")):
        os.utime(upload_path(digest, form), (old, old))
    part = settings.DATA_DIR / "uploads" / f"jobs-{left}.part"
    part.write_bytes(b"l")
    os.utime(part, (old, old))
    upload_keep(b"left meanwhile", "jobs")
    assert upload_read(left, "jobs") is None
    assert not part.exists()
    assert upload_read(waits, INCOMING) == b"waits"
    assert upload_read(young, "drawing") == b"young"
    assert upload_keep(b"again", "chart") == again
    assert upload_read(again, "chart") == b"again"
