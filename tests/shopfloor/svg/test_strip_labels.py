"""Which labels of a strip stand, and where."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from shopfloor.svg.strip.labels import Label, Place, over, settle

LABELS = st.lists(
    st.builds(
        lambda x, w, y, u: Label("x" * w, y, over(x, x + 20), "", urgency=u),
        st.integers(20, 900),
        st.integers(1, 12),
        st.sampled_from([20, 42, 60]),
        st.integers(0, 9),
    ),
    max_size=20,
)


def test_the_less_urgent_of_two_labels_that_meet_leans_away() -> None:
    strong = Label("27 arcs, no job", 60, over(380, 400), "", urgency=8)
    weak = Label("break", 60, over(415, 445), "", urgency=2)
    stood = {label.text: place.anchor for label, place in settle([weak, strong], 950)}
    # "break" has no room on any side of the centred one, so that one leans left instead.
    assert stood == {"27 arcs, no job": "end", "break": "middle"}


def test_a_label_with_no_room_left_is_dropped_and_the_urgent_one_stays() -> None:
    fixed = (Place(400, "middle"),)
    strong, weak = Label("silent", 60, fixed, "", urgency=9), Label("break", 60, fixed, "")
    assert [label.text for label, _ in settle([weak, strong], 950)] == ["silent"]


@given(LABELS)
def test_no_two_labels_that_stand_ever_meet(labels: list[Label]) -> None:
    stood = settle(labels, 950)
    for i, (a, place_a) in enumerate(stood):
        for b, place_b in stood[i + 1 :]:
            left_a, right_a = a.span(place_a)
            left_b, right_b = b.span(place_b)
            apart = right_a <= left_b or right_b <= left_a
            assert apart or a.y - a.size >= b.y or b.y - b.size >= a.y
