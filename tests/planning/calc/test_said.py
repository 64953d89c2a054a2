"""Sentences that keep their lengths: inches worked by hand, 25.4 mm each."""

from __future__ import annotations

import pickle

from planning.calc.said import in_units, plain, said, stored


def test_a_sentence_reads_in_mm_and_in_inches():
    text = said("contour {0:n.3g} of {1:.4g} at {2:/min}", 12.7, 25.4, 2540.0)
    assert text == "contour 12.7 of 25.4 mm at 2540 mm/min"
    assert in_units(stored(text), inch=True) == "contour 0.5 of 1 in at 100 in/min"
    assert in_units(stored(text), inch=False) == str(text)


def test_one_that_was_kept_without_its_numbers_stays_as_it_is():
    assert in_units({"line": 3, "text": "reaches 4 mm beyond"}, inch=True) == "reaches 4 mm beyond"
    assert stored("nothing is cut") == {"text": "nothing is cut"}


def test_a_name_with_braces_is_no_place_for_a_number():
    text = said(f"layer {plain('{0}')} is {{0}} long", 50.8)
    assert text == "layer {0} is 50.8 mm long"
    assert in_units(stored(text), inch=True) == "layer {0} is 2 in long"


def test_it_comes_back_whole_from_another_process():
    text = pickle.loads(pickle.dumps(said("a gap of {0}", 2.54)))
    assert in_units(stored(text), inch=True) == "a gap of 0.1 in"
