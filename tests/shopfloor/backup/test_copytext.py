"""SQLite's values as COPY's text; expected lines are written by PostgreSQL's own rules."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopfloor.backup.copytext import lines, values

text = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))


def test_each_kind_is_written_as_copy_writes_it():
    row = (7, 0.1, 1, b"\x00\xff", "2026-03-29 01:30:00.480000", "a\tb\\c\nd\re", None, "\\N")
    kinds = ["integer", "float", "bool", "bytes", "instant", "text", "text", "text"]
    assert list(lines([row], kinds)) == [
        "7\t0.1\tt\t\\\\x00ff\t2026-03-29 01:30:00.480000+00\ta\\tb\\\\c\\nd\\re\t\\N\t\\\\N\n"
    ]


def test_what_postgresql_writes_becomes_what_django_writes_into_sqlite():
    line = b"t\t2026-03-29 01:30:00.48+00\t2026-03-29 01:30:00+00\t1e+20\t" + (
        b"76ce8408-7193-58bb-88b7-33b0f53b4ce1\n"
    )
    assert list(values([line], ["bool", "instant", "instant", "float", "uuid"])) == [
        [
            1, "2026-03-29 01:30:00.480000", "2026-03-29 01:30:00", 1e20,
            "76ce8408719358bb88b733b0f53b4ce1",
        ]
    ]  # fmt: skip


@given(
    st.lists(
        st.tuples(
            st.none() | text,
            st.none() | st.integers(-(2**63), 2**63 - 1),
            st.none() | st.floats(allow_nan=False),
            st.none() | st.binary(),
        )
    )
)
def test_any_row_comes_back_as_it_was(rows):
    kinds = ["text", "integer", "float", "bytes"]
    written = [line.encode() for line in lines(rows, kinds)]
    assert all(line.count(b"\n") == 1 for line in written)
    assert [tuple(row) for row in values(written, kinds)] == rows


@pytest.mark.parametrize("line", [b"1\n", b"1\tx\t3\n", b"x\t1\n"])
def test_a_line_that_is_no_row_is_named(line):
    with pytest.raises(ValueError, match="line 2"):
        list(values([b"1\t2\n", line], ["integer", "integer"]))
