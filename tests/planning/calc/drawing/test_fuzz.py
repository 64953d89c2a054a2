"""Valid drawings with values changed, lines taken out, doubled and swapped: an answer that a page,
a database and the process that reads it can hold, or a refusal; never anything else."""

from __future__ import annotations

import math
import pickle
import time
from contextlib import suppress
from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planning.calc.drawing import Drawing, DrawingError, Reading, read_drawing
from planning.calc.drawing.entities import MOST_CURVES
from tests.planning.calc.drawing.made import binary, dxf, square
from tests.planning.calc.drawing.test_blocks import placed
from tests.planning.calc.drawing.test_releases import new, old, written

MOST_S = 20.0  # of processor time, on a machine with other work; a page's reader has 40
MOST_MB = 64
HOSTILE = (
    "", "0", "-1", "1", "2", "3", "70", "255", "32767", "99999999", "-99999999", "1e308", "-1e308",
    "1e-308", "nan", "inf", "1e9", "0.0", "SECTION", "ENDSEC", "ENTITIES", "BLOCKS", "INSERT",
    "SPLINE", "POLYLINE", "VERTEX", "SEQEND", "LWPOLYLINE", "HATCH", "B0", "B1", "*MODEL_SPACE",
    "\u041a", "\\U+D800", "\\U+0000", "x" * 300, "{0!r:9999}", "%s", "FFFFFFFFFFFFFFFF",
)  # fmt: skip


@cache
def seeds() -> tuple[bytes, ...]:
    return (
        dxf(square),
        written("R12", old, fmt="asc"),
        written("R2018", new, fmt="asc"),
        placed(nested=2, inner=(-1.0, 1.5, 30.0), grid=((2, 2), (200, 200)))[0],
    )


def entities_of(lines: list[bytes]) -> int:
    """Where blocks and entities begin: what stands before is mostly passed over."""
    return next((i for i, line in enumerate(lines) if line.strip() == b"BLOCKS"), 0)


Edit = tuple[str, float, float, int]  # what, where and whence as shares of the file, which, or many
EDITS = st.lists(
    st.tuples(
        st.sampled_from(("value", "value", "value", "drop", "double", "swap", "copy")),
        st.floats(0, 1), st.floats(0, 1), st.integers(0, 39),
    ),
    min_size=1, max_size=6,
)  # fmt: skip


def changed(raw: bytes, all_of_it: bool, edits: list[Edit]) -> bytes:
    lines = raw.splitlines()
    begin = 0 if all_of_it else entities_of(lines)
    for what, where, whence, which in edits:
        at = begin + int(where * (len(lines) - 1 - begin))
        other = begin + int(whence * (len(lines) - 1 - begin))
        match what:
            case "value":
                lines[at] = HOSTILE[which % len(HOSTILE)].encode()
            case "drop":
                del lines[at : at + 1 + which % 4]
            case "double":
                lines[at:at] = lines[at : at + 1 + which]
            case "swap":
                lines[at], lines[other] = lines[other], lines[at]
            case "copy":
                lines[at] = lines[other]
        if len(lines) <= begin + 8:
            break
    return b"\n".join(lines)


def holds(drawing: Drawing) -> None:
    """What the page and the database are handed."""
    words = [note.text for note in drawing.notes]
    words += [text for each in drawing.layers for text in (each.name, each.why, *each.counts)]
    for text in (*words, drawing.version, *(each.layer for each in drawing.contours)):
        assert "\0" not in text
        text.encode("utf-8")
    figures = [drawing.cut_mm, drawing.mark_mm, *drawing.extents_mm, drawing.net_area_mm2 or 0.0]
    for each in (*drawing.contours, *drawing.marks):
        figures += [
            each.length_mm,
            each.area_mm2 or 0.0,
            each.net_area_mm2 or 0.0,
            *each.extents_mm,
        ]
        assert each.points.shape[1] == 2
    assert all(math.isfinite(value) for value in figures)
    assert drawing.net_area_mm2 is None or drawing.net_area_mm2 >= 0
    assert sum(len(each.curves) for each in drawing.contours) <= 2 * MOST_CURVES


def tried(raw: bytes) -> None:
    start = time.process_time()
    try:
        answer: Drawing | DrawingError = read_drawing(raw, Reading(unit="mm"))
    except DrawingError as refused:
        answer = refused
    assert time.process_time() - start < MOST_S
    assert len(pickle.dumps(answer, protocol=5)) < MOST_MB * 1024 * 1024
    if isinstance(answer, Drawing):
        holds(answer)
    else:
        assert answer.message
        assert "\0" not in answer.message
        answer.message.encode("utf-8")


@pytest.mark.long
@settings(max_examples=1_000, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 3), st.booleans(), EDITS)
def test_changed_values_and_lines_end_in_an_answer_or_a_refusal(seed, all_of_it, edits):
    tried(changed(seeds()[seed], all_of_it, edits))


@pytest.mark.long
@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_damaged_bytes_of_a_binary_drawing_end_in_an_answer_or_a_refusal(data):
    raw = bytearray(binary(square))
    for _ in range(data.draw(st.integers(1, 8))):
        raw[data.draw(st.integers(22, len(raw) - 1))] = data.draw(st.integers(0, 255))
    tried(bytes(raw))


@pytest.mark.parametrize("text", ["\\U+D800", "\\U+0000", "\\U+FFFF"])
def test_a_letter_written_out_that_is_none_names_a_layer_that_can_be_shown(text):
    raw = dxf(lambda space: square(space, dxfattribs={"layer": "QQQQ"}))
    with suppress(DrawingError):
        holds(read_drawing(raw.replace(b"QQQQ", text.encode())))
