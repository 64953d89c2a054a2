"""A program nobody here wrote: an example file of Pygments' tests (BSD licence beside it), its
comments left out. What it should come to is worked out here from its text by itself, arcs as sums
of short chords."""

from __future__ import annotations

import cmath
import math
import re
from itertools import pairwise
from pathlib import Path

import pytest

from planning.calc.motion import TableMotion
from planning.calc.plan import Cutting, plan_program
from planning.calc.program import read_program

RAW = (Path(__file__).parents[4] / "fixtures" / "programs" / "packaged.nc").read_bytes()
CHORDS = 20_000


def by_hand() -> tuple[float, float, list[complex]]:
    """(length cut, length of travel, places), inches as mm: only what this one file holds."""
    here, mode, torch, places = 0j, "G0", False, [0j]
    cut = travel = 0.0
    for line in RAW.decode().splitlines():
        words = dict(re.findall(r"([XYIJ])(-?[0-9.]+)", line))
        codes = re.findall(r"[GM][0-9]+", line)
        torch = (torch or "M3" in codes) and "M5" not in codes
        mode = next((code for code in codes if code in ("G0", "G1", "G2", "G3")), mode)
        if not {"X", "Y"} & words.keys():
            continue
        to = complex(float(words.get("X", here.real)), float(words.get("Y", here.imag)))
        length = abs(to - here)
        if mode == "G3":
            centre = here + complex(float(words["I"]), float(words["J"]))
            turn = cmath.phase((to - centre) / (here - centre)) % math.tau
            radius = (abs(here - centre) + abs(to - centre)) / 2
            spot = [cmath.rect(radius, turn * n / CHORDS) for n in range(CHORDS + 1)]
            length = sum(abs(b - a) for a, b in pairwise(spot))
        cut, travel = (cut + length, travel) if torch else (cut, travel + length)
        here = to
        places.append(to)
    return cut * 25.4, travel * 25.4, places


def test_lengths_and_places_are_those_of_its_text():
    cut, travel, places = by_hand()
    program = read_program(RAW)
    moves = program.moves
    assert moves.length_mm[moves.torch].sum() == pytest.approx(cut, rel=1e-8)
    assert moves.length_mm[~moves.torch].sum() == pytest.approx(travel, abs=1e-9)
    assert moves.x.tolist() == pytest.approx([25.4 * place.real for place in places[1:]])
    assert moves.y.tolist() == pytest.approx([25.4 * place.imag for place in places[1:]])


def test_it_is_read_with_notes_and_without_guesses():
    program = read_program(RAW)
    assert [note.text for note in program.notes] == ["M6 is passed over"]
    assert len(program.contours) == 1
    assert not program.left_burning


def test_its_plan_is_not_below_the_time_at_full_speed():
    cut, travel, _ = by_hand()
    plan = plan_program(read_program(RAW), TableMotion(500, 15_000), Cutting(2000))
    assert plan.cut_s >= cut / 2000 * 60
    assert plan.travel_s >= travel / 15_000 * 60
    stops = plan_program(read_program(RAW), TableMotion(500, 15_000, "stop"), Cutting(2000))
    assert stops.total_s > plan.total_s
