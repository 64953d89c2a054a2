from __future__ import annotations

import pytest

from dashboards.access import Reader
from dashboards.today.addresses import Suggested, address, note_view
from planning.calc.said import said
from planning.reports.shapes import Act, Note

EVERY = Reader(assign=True, feeds=True)


@pytest.mark.parametrize(
    ("code", "target", "url"),
    [
        (
            "run",
            "00000000-0000-0000-0000-000000000007",
            "/runs/00000000-0000-0000-0000-000000000007/",
        ),
        ("job", "12", "/jobs/12/"),
        ("nest", "9", "/nests/9/"),
        ("queue", "north", "/nests/queue/?table=north"),
        ("wear", "3", "/wear/?piece=3"),
        ("feed", "north-serial", "/sources/at/north-serial/"),
        ("reason", "5", "/today/reason/5/"),
        ("assign_arcs", "f|1|a b&c", "/today/arcs/?first=f%7C1%7Ca%20b%26c"),
    ],
)
def test_every_code_has_its_address(code, target, url):
    assert address(code, target) == url


@pytest.mark.parametrize(("code", "target"), [("rocket", "1"), ("run", "not-a-run"), ("job", "x")])
def test_what_leads_nowhere_is_not_offered(code, target):
    assert address(code, target) is None
    assert note_view(Note("now", "h", "b", (Act("Go", code, target),)), EVERY, {})["actions"] == []


def test_what_a_person_may_not_do_is_not_offered():
    acts = (Act("Say", "assign_arcs", "k"), Act("Why", "reason", "5"), Act("Look", "feed", "f"))
    assert note_view(Note("now", "h", "b", acts), Reader(), {})["actions"] == []
    assert len(note_view(Note("now", "h", "b", acts), EVERY, {})["actions"]) == 3


def test_arcs_with_a_likely_run_are_given_in_one_press():
    note = Note("now", "27 arcs", "", (Act("Say which job", "assign_arcs", "k"),))
    guess = {"k": Suggested("2279-2", 27, run_id="r")}
    give, other = note_view(note, EVERY, guess)["actions"]
    assert give == {
        "label": "Give them to 2279-2",
        "url": "/today/arcs/give/",
        "post": True,
        "fields": {"first_key": "k", "arcs": "27", "run_id": "r"},
    }
    assert other == {"label": "Other ways", "url": "/today/arcs/?first=k", "second": True}


@pytest.mark.parametrize(
    ("inch", "text"),
    [(False, "pit 1.27 mm, limit 1.6 mm"), (True, "pit 0.05 in, limit 0.063 in")],
)
def test_a_note_is_read_in_its_reader_s_units(inch, text):
    """1.27 mm and 1.6 mm by 25.4 mm to the inch."""
    note = Note("soon", "A piece about due", said("pit {0}, limit {1}", 1.27, 1.6), ())
    assert note_view(note, Reader(inch=inch), {})["body"] == text
