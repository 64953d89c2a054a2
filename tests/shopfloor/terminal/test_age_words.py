"""What the screen of a change says of a piece's age."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from shopfloor.wear.floor.torch_card import age_words


@pytest.mark.parametrize(
    ("starts", "left", "due", "said"),
    [
        (1, 436, "no", "E-7, 1 start, about 436 left"),
        (10_189, 11_099, "no", "E-7, 10,189 starts, about 11,099 left"),
        (164, None, "unknown", "E-7, 164 starts"),
        (700, 0, "due", "E-7, 700 starts, due"),
        (None, None, "unknown", "E-7, age unknown"),
    ],
)
def test_the_age_of_a_piece_can_be_read_at_arm_s_length(starts, left, due, said):
    outlook = SimpleNamespace(starts=starts, starts_left=left, due=due)
    piece = SimpleNamespace(label="E-7", outlook=outlook)
    assert age_words(SimpleNamespace(piece=piece)) == said
