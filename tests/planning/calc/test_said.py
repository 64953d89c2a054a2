"""Sentences that keep their lengths: inches worked by hand, 25.4 mm each."""

from __future__ import annotations

import pickle

from planning.calc.said import (
    around,
    in_units,
    plain,
    restored,
    said,
    said_in_each,
    stored,
    to_reader,
    without_stop,
)


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


def test_long_lengths_and_areas():
    """1 ft is 0.3048 m exactly: 3.048 m is 10 ft, 0.3048² m² is 1 ft²."""
    text = said("{0:m,.1f} cut fine, 12 min more", 3048.0)
    assert (text, to_reader(text, inch=True)) == (
        "3.0 m cut fine, 12 min more",
        "10.0 ft cut fine, 12 min more",
    )
    assert to_reader(said("{0:m,.1f} cut", 1_524_000.0), inch=True) == "5,000.0 ft cut"
    area = said("{0:m2,.3f}", 929_030.4)
    assert (area, to_reader(area, inch=True)) == ("0.929 m²", "10.00 ft²")


def test_what_a_length_costs_is_said_by_the_one_its_reader_uses():
    text = said_in_each("{0:m,.1f}: 2.40 USD a metre", "{0:m,.1f}: 0.73 USD a foot", 412_000.0)
    assert to_reader(text, inch=False) == "412.0 m: 2.40 USD a metre"
    assert to_reader(text, inch=True) == "1,351.7 ft: 0.73 USD a foot"
    again = pickle.loads(pickle.dumps(text))
    assert to_reader(restored(stored(again)), inch=True) == "1,351.7 ft: 0.73 USD a foot"


def test_plain_words_stand_around_a_sentence():
    whole = around("The {nozzle} is due: ", said("pit {0}", 25.4), ".")
    assert whole == "The {nozzle} is due: pit 25.4 mm."
    assert to_reader(whole, inch=True) == "The {nozzle} is due: pit 1 in."
    assert to_reader(around("", without_stop(whole), ", and more."), inch=True) == (
        "The {nozzle} is due: pit 1 in, and more."
    )
    assert around("a ", "rated life", ".") == "a rated life."
    assert without_stop("All is well.") == "All is well"


def test_a_name_that_holds_a_length_is_left_alone():
    assert to_reader("program 12 mm plate.nc", inch=True) == "program 12 mm plate.nc"
