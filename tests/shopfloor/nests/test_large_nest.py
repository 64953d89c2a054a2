"""A nest of two million moves."""

from __future__ import annotations

import time

import numpy as np
import pytest

from shopfloor.nests.services import nest_add

pytestmark = pytest.mark.long
CONTOURS, MOVES = 400, 5_000


def program() -> bytes:
    """Rounded stars in a grid, each in 5,000 chords of about .1 mm."""
    turn = np.linspace(0, 2 * np.pi, MOVES + 1)
    text = ["G21 G90"]
    for number in range(CONTOURS):
        radius = 60 + 8 * np.cos((3 + number % 5) * turn)
        x = 100 + 200 * (number % 20) + radius * np.cos(turn)
        y = 100 + 200 * (number // 20) + radius * np.sin(turn)
        text += [f"G0 X{x[0]:.3f} Y{y[0]:.3f}", "M3"]
        pairs = zip(x[1:].tolist(), y[1:].tolist(), strict=True)
        text += [f"G1 X{a:.3f} Y{b:.3f}" for a, b in pairs]
        text.append("M5")
    return "\n".join(text).encode()


def test_it_opens_in_a_second(floor, client):
    nest = nest_add(
        name="large", file_name="large.nc", raw=program(), material=floor.steel,
        thickness_text="6 mm", wear_set=floor.fast, table=floor.table, by=floor.person,
    )  # fmt: skip
    assert nest.revisions.get().contours.count() == CONTOURS
    client.force_login(floor.person)
    client.get("/nests/")  # what the first page of a process loads is not the nest's
    client.get(f"/nests/{nest.pk}/")
    begun = time.process_time()
    answer = client.get(f"/nests/{nest.pk}/")
    took = time.process_time() - begun
    assert answer.status_code == 200
    assert took < 1.0
