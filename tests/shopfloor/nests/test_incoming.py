"""Long files: progress seen, a stop obeyed, nothing half kept, refusals clear."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from planning.services.work import run_all_waiting
from shopfloor.files.uploads import upload_read
from shopfloor.jobs import import_list as imports
from shopfloor.models import Customer, Incoming, Job, JobLine, Nest, Work
from shopfloor.nests import long_files as incoming_module
from shopfloor.nests.long_files import incoming_add, incoming_stop
from tests.shopfloor.conftest import PROGRAM


@pytest.fixture(autouse=True)
def told_at_once(monkeypatch):
    monkeypatch.setattr(incoming_module, "TOLD_S", 0.0)


def jobs_list(count: int) -> bytes:
    rows = ["job,customer,title,due,part,quantity,material,thickness"]
    rows += [f"B-{n // 4},Oxlode,Title,,part {n},2,A36,6 mm" for n in range(count)]
    return "\n".join(rows).encode()


@pytest.fixture
def listed(steel, planner):
    def add(raw: bytes) -> Incoming:
        how = {"encoding": "utf-8", "date_order": "none"}
        return incoming_add(kind="jobs", name="list.csv", raw=raw, options=how, by=planner)

    return add


def nest_sent(steel, fast, north, raw=PROGRAM):
    return {
        "file": SimpleUploadedFile("long.nc", raw), "name": "long", "material": steel.pk,
        "thickness_text": "1/4 in", "wear_set": fast.pk, "table": north.pk, "sheets_wanted": 2,
    }  # fmt: skip


def test_a_long_program_becomes_a_nest_beside_the_pages(
    steel, fast, north, planner, sign_in, monkeypatch
):
    monkeypatch.setattr("shopfloor.nests.office.edit.LONG_PROGRAM_BYTES", 10)
    page = sign_in(planner)
    answer = page.post(reverse("nest_add"), nest_sent(steel, fast, north), follow=True)
    found = Incoming.objects.get()
    assert answer.redirect_chain[-1][0] == reverse("incoming", args=[found.pk])
    assert not Nest.objects.exists()
    assert "Waiting for its turn." in answer.content.decode()
    run_all_waiting()
    found.refresh_from_db()
    nest = Nest.objects.get()
    assert (found.state, found.result) == ("done", {"nest": nest.pk})
    assert (nest.name, nest.sheets_wanted, nest.table) == ("long", 2, north)
    assert nest.revisions.get().made_by == planner
    assert nest.revisions.get().contours.count() == 3
    text = page.get(reverse("incoming", args=[found.pk])).content.decode()
    assert reverse("nest_parts", args=[nest.pk]) in text


def test_a_long_revision_goes_the_same_way(nest, planner, sign_in, monkeypatch):
    monkeypatch.setattr("shopfloor.nests.office.edit.LONG_PROGRAM_BYTES", 10)
    raw = PROGRAM.replace(b"X300 Y100", b"X300 Y120")
    sent = {"file": SimpleUploadedFile("b.nc", raw)}
    sign_in(planner).post(reverse("nest_revise", args=[nest.pk]), sent)
    run_all_waiting()
    assert nest.revisions.count() == 2


def test_how_far_it_is_can_be_seen(listed, planner, sign_in, monkeypatch):
    monkeypatch.setattr(imports, "TOLD_EACH", 1)
    page, found, seen = sign_in(planner), listed(jobs_list(40)), []
    write = incoming_module._Telling._write

    def watched(self, **values):
        write(self, **values)
        seen.append(page.get(reverse("incoming_how_far", args=[found.pk])).json()["words"])

    monkeypatch.setattr(incoming_module._Telling, "_write", watched)
    run_all_waiting()
    assert "Reading rows: 17 of 40." in seen
    assert seen[-1] == "Writing them down."
    answer = page.get(reverse("incoming_how_far", args=[found.pk])).json()
    assert answer["words"] == "10 new jobs, 40 new lines; 0 rows left out."


def test_a_stop_while_it_is_read_keeps_nothing(listed, planner, sign_in, monkeypatch):
    monkeypatch.setattr(imports, "TOLD_EACH", 1)
    page, found = sign_in(planner), listed(jobs_list(40))
    write = incoming_module._Telling._write

    def stopping(self, **values):
        write(self, **values)
        if values.get("done") == 20:
            page.post(reverse("incoming_stop", args=[found.pk]))

    monkeypatch.setattr(incoming_module._Telling, "_write", stopping)
    run_all_waiting()
    found.refresh_from_db()
    assert (found.state, found.done) == ("stopped", 20)
    assert not Job.objects.exists()
    assert not Customer.objects.exists()
    assert (
        "Nothing of it was kept." in page.get(reverse("incoming", args=[found.pk])).content.decode()
    )
    assert Work.objects.get().state == "done"


def test_a_stop_while_it_waits_ends_it_at_once(listed):
    found = listed(jobs_list(4))
    assert incoming_stop(incoming=found)
    run_all_waiting()
    found.refresh_from_db()
    assert found.state == "stopped"
    assert not Job.objects.exists()
    assert not incoming_stop(incoming=found)


def test_a_failure_while_it_is_written_keeps_nothing(listed, monkeypatch):
    found = listed(jobs_list(8))

    def fails(*args, **kwargs):
        raise RuntimeError("disk")

    monkeypatch.setattr(JobLine.objects, "bulk_create", fails)
    run_all_waiting()
    found.refresh_from_db()
    assert found.state == "failed"
    assert "ended on an error" in found.said
    assert not Job.objects.exists()


def test_a_worker_that_died_leaves_it_to_be_read_again(listed):
    found = listed(jobs_list(8))
    Incoming.objects.filter(pk=found.pk).update(state="reading", done=5)
    run_all_waiting()
    found.refresh_from_db()
    assert (found.state, Job.objects.count()) == ("done", 2)


def test_done_again_it_writes_nothing_more(listed):
    found = listed(jobs_list(8))
    run_all_waiting()
    incoming_module.incoming_take(key=str(found.pk), payload={})
    assert Job.objects.count() == 2


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"G21\nG1 X1\nX[2\n", "long.nc:3: "),
        (b"\xff\xfeG\x001\x00", "long.nc:1: saved as UTF-16"),
        (b"G0 X1\n", "never lights the torch"),
    ],
)
def test_a_program_that_cannot_be_read_is_refused_with_its_line(
    steel, fast, north, planner, sign_in, monkeypatch, raw, said
):
    monkeypatch.setattr("shopfloor.nests.office.edit.LONG_PROGRAM_BYTES", 2)
    page = sign_in(planner)
    page.post(reverse("nest_add"), nest_sent(steel, fast, north, raw))
    run_all_waiting()
    found = Incoming.objects.get()
    assert found.state == "failed"
    assert said in found.said
    assert said in page.get(reverse("incoming", args=[found.pk])).content.decode()
    assert not Nest.objects.exists()


def test_a_program_over_the_limit_is_refused_by_its_size(
    steel, fast, north, planner, sign_in, monkeypatch
):
    monkeypatch.setattr("shopfloor.nests.office.edit.LONG_PROGRAM_BYTES", 2)
    monkeypatch.setattr("shopfloor.nests.office.edit.MAX_PROGRAM_BYTES", 100)
    answer = sign_in(planner).post(reverse("nest_add"), nest_sent(steel, fast, north))
    assert "The file is over" in answer.content.decode()
    assert not Incoming.objects.exists()


def test_the_bytes_are_forgotten_once_it_ended(listed, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        found = listed(jobs_list(4))
    assert upload_read(found.digest, "incoming") is not None
    with django_capture_on_commit_callbacks(execute=True):
        run_all_waiting()
    assert upload_read(found.digest, "incoming") is None


def test_a_long_list_is_confirmed_into_the_background(steel, planner, sign_in, monkeypatch):
    monkeypatch.setattr("shopfloor.jobs.office.import_list.LONG_LIST_ROWS", 5)
    page = sign_in(planner)
    raw = jobs_list(12) + b"\nB-9,,,,part,none,A36,6 mm"
    shown = page.post(
        reverse("job_import"),
        {"file": SimpleUploadedFile("list.csv", raw), "encoding": "utf-8", "date_order": "none"},
    )
    page.post(reverse("job_import_confirm"), shown.context["confirm"].initial)
    run_all_waiting()
    found = Incoming.objects.get()
    assert (found.state, Job.objects.count(), JobLine.objects.count()) == ("done", 3, 12)
    assert found.result["faults"][0].startswith("list.csv:14: ")
