"""What two databases must agree in, row by row."""

from __future__ import annotations

import json

import pytest

from shopfloor.moving.canon import Digest, keepable, meant


def digest(*rows):
    found = Digest()
    for row in rows:
        found.add(row)
    return found.rows, found.checksum


def test_order_of_rows_does_not_matter_and_every_value_does():
    one, two = [1, "a", None], [2, "b", 0.5]
    assert digest(one, two) == digest(two, one)
    others = [[1, "a", ""], [1, "a", 0], ["1", "a", None], [1, None, "a"]]
    assert len({digest(row)[1] for row in [one, *others]}) == 5
    assert digest(one, one) != digest(one)
    assert digest(one, one, two)[1] != digest(one, two, two)[1]


@pytest.mark.parametrize(
    ("sqlite", "postgresql", "same"),
    [
        ('{"b": 1, "a": [1.50, 1e2]}', '{"a": [1.5, 100], "b": 1}', True),
        ('{"a": "1"}', '{"a": 1}', False),
        ('{"a": true}', '{"a": 1}', False),
        ('{"a": 12345678901234567890}', '{"a": 12345678901234567891}', False),
        ('["\\u00e9"]', '["é"]', True),
        ("[1, 2]", "[2, 1]", False),
    ],
)
def test_json_counts_by_what_it_means(sqlite, postgresql, same):
    assert (meant([7, sqlite], [1]) == meant([7, postgresql], [1])) is same
    assert meant([None], [0]) == [None]


def test_what_postgresql_cannot_keep_is_replaced_by_a_sign_and_counted():
    row = ["a\0b\0", json.dumps({"k\0": ["x\0", "\ud800"], "n": 1}), r"C:\u0000", b"\0", None]
    kept, changed = keepable(row, [1])
    assert changed == 2
    assert kept[0] == "a␀b␀"
    assert json.loads(kept[1]) == {"k␀": ["x␀", "�"], "n": 1}
    assert kept[2:] == row[2:]


def test_what_it_can_keep_stays_to_the_letter():
    row = [r"a\u0000", json.dumps({"a": "\\u0000", "b": "😀 é"}), "line\nend\t\\", 1, 0.1]
    assert keepable(row, [1]) == (row, 0)
