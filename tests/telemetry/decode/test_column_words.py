from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from telemetry.decode.column_words import Words

TEXT = st.text(alphabet="AB ON", max_size=12)


@given(st.dictionaries(TEXT, st.integers(1, 6), max_size=6), st.lists(TEXT, max_size=12))
def test_words_of_any_length_are_found_as_a_dictionary_finds_them(signals, said) -> None:
    said = [*said, *signals, "", "ARC", "A" * 8, "A" * 9]
    raw = ",".join(said).encode()
    ends = np.cumsum([len(word) + 1 for word in said]) - 1
    starts = ends - [len(word) for word in said]
    kinds = Words(signals).kinds_of(raw, np.frombuffer(raw, np.uint8), starts, ends)
    assert kinds.tolist() == [signals.get(word, 0) if word else 0 for word in said]
