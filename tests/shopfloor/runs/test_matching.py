"""Rules of matching, each with the smallest case that shows it. Common practice, no source."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st

from shopfloor.runs.matching import ArcInput, Planned, Span, StoppageSpan, clusters, match, union_us

S = 1_000_000
GAP = 900 * S


def arcs_of(*times, torch="1", pierces=1, table="north"):
    """Arcs from (on, off) in seconds; off None: burning."""
    return [
        ArcInput(f"a{i}", table, torch, on * S, None if off is None else off * S, pierces)
        for i, (on, off) in enumerate(times, 1)
    ]


def span(id=1, start=0, end=None, *, run="r", torch="1", plan=None, **more):
    return Span(
        id=id,
        run=run,
        table="north",
        torch=torch,
        start_us=start * S,
        end_us=None if end is None else end * S,
        pressed=more.pop("pressed", end is not None),
        plan=tuple(Planned(seconds) for seconds in plan or ()),
        **more,
    )


def decide(spans, arcs, *, said=None, halts=(), now=10_000):
    found = match(spans, arcs, said=said or {}, halts=halts, gap_us=GAP, now_us=now * S)
    return {d.key: (d.segment, d.contour, d.repeat) for d in found.decisions}, found


def test_an_arc_belongs_to_the_segment_it_begins_in():
    spans = [span(1, 100, 200), span(2, 300, 400, run="q")]
    got, _ = decide(spans, arcs_of((50, 60), (150, 250), (250, 260), (300, 310), (400, 410)))
    assert [got[f"a{i}"][0] for i in range(1, 6)] == [None, 1, None, 2, None]


def test_an_arc_already_burning_when_a_run_was_started_belongs_to_it():
    got, _ = decide([span(1, 100)], arcs_of((95, 130)))
    assert got["a1"] == (1, 1, False)


def test_a_segment_nobody_ended_does_not_reach_over_the_gap():
    """Last arc ends at 40; the next begins 901 s later, one second more than the gap."""
    got, found = decide([span(1, 0)], arcs_of((10, 40), (941, 950)))
    assert got["a2"][0] is None
    assert found.ends[0].assumed_us == 40 * S
    got, found = decide([span(1, 0)], arcs_of((10, 40), (940, 950)), now=960)
    assert got["a2"][0] == 1
    assert found.ends[0].assumed_us is None


def test_time_with_a_reason_does_not_count_as_gap():
    halts = [StoppageSpan("north", 100 * S, 2000 * S), StoppageSpan("south", 0, 9999 * S)]
    got, _ = decide([span(1, 0)], arcs_of((10, 40), (2500, 2510)), halts=halts)
    assert got["a2"][0] == 1  # 60 s before the halt and 500 s after it
    got, _ = decide([span(1, 0)], arcs_of((10, 40), (2500, 2510)), halts=halts[1:])
    assert got["a2"][0] is None  # another table's reason says nothing here


def test_what_a_person_said_holds_against_every_rule():
    spans = [span(1, 0, 100), span(2, 200, 300, run="q")]
    said = {"a1": 2, "a2": None}
    got, _ = decide(spans, arcs_of((10, 20), (30, 40), (50, 60)), said=said)
    assert (got["a1"][0], got["a2"][0], got["a3"][0]) == (2, None, 1)


def test_torches_do_not_hold_each_others_arcs():
    arcs = [*arcs_of((10, 400)), ArcInput("b", "north", "2", 20 * S, 140 * S, 1)]
    got, _ = decide([span(1, 0), span(2, 0, torch="2", run="q")], arcs, now=500)
    assert (got["a1"][0], got["b"][0]) == (1, 2)


def test_a_bare_contact_makes_no_misfires():
    """1,200 closures of a source that reports no pierces: 1,200 starts, none of them a repeat."""
    times = [(10 * i, 10 * i + 8) for i in range(1200)]
    got, _ = decide([span(1, 0, plan=[8.0] * 1200)], arcs_of(*times, pierces=None), now=12_100)
    assert [got[f"a{i}"][1] for i in range(1, 1201)] == list(range(1, 1201))
    assert not any(repeat for _, _, repeat in got.values())


def test_a_start_without_a_pierce_is_a_misfire_where_pierces_are_reported():
    arcs = [
        ArcInput("m", "north", "1", 10 * S, 11 * S, 0),
        ArcInput("c", "north", "1", 15 * S, 45 * S, 1),
    ]
    got, _ = decide([span(1, 0, plan=[30.0, 30.0])], arcs)
    assert got == {"m": (1, 1, True), "c": (1, 1, False)}


def test_an_edge_start_without_a_pierce_is_no_misfire():
    plan = (Planned(30.0, pierces=0), Planned(30.0, pierces=0))
    edge = Span(1, "r", "north", "1", 0, plan=plan)
    got, _ = decide([edge], arcs_of((10, 40), (50, 80), pierces=0))
    assert got == {"a1": (1, 1, False), "a2": (1, 2, False)}


def test_a_contour_burnt_again_is_seen_where_lengths_can_tell():
    """Planned 30, 80, 30 s; burnt 30, 10 (failed), 80, 30."""
    got, _ = decide(
        [span(1, 0, plan=[30.0, 80.0, 30.0])],
        arcs_of((0, 30), (40, 50), (60, 140), (150, 180), pierces=None),
        now=200,
    )
    assert [got[f"a{i}"][1:] for i in range(1, 5)] == [
        (1, False), (2, True), (2, False), (3, False)
    ]  # fmt: skip


def test_equal_contours_leave_a_failed_one_unknown():
    """Three of 30 s; burnt 30, 10, 30, 30: which one failed cannot be told from a short one, so
    numbers follow the order and the arc beyond the plan has none."""
    got, _ = decide(
        [span(1, 0, plan=[30.0] * 3)],
        arcs_of((0, 30), (40, 50), (60, 90), (100, 130), pierces=None),
        now=200,
    )
    assert [got[f"a{i}"][1:] for i in range(1, 5)] == [
        (1, False), (2, False), (3, False), (None, False)
    ]  # fmt: skip


def test_of_two_whole_cuts_of_a_contour_the_second_is_the_repeat():
    """Restarted one contour too early: 2 was whole already."""
    spans = [span(1, 0, 100, plan=[30.0] * 3), span(2, 200, 300, first_contour=2, plan=[30.0] * 3)]
    got, _ = decide(spans, arcs_of((0, 30), (40, 70), (210, 240), (250, 280)))
    assert [got[f"a{i}"][1:] for i in range(1, 5)] == [
        (1, False), (2, False), (2, True), (3, False)
    ]  # fmt: skip


def test_an_inserted_segment_cuts_no_other_short():
    """Two arcs in the middle of a run were another nest's; the rest stays where it was."""
    spans = [span(1, 0), span(2, 100, 200, run="q", inserted=True)]
    said = {"a2": 2}
    got, _ = decide(spans, arcs_of((10, 40), (110, 190), (210, 240)), said=said, now=300)
    assert [got[f"a{i}"][0] for i in range(1, 4)] == [1, 2, 1]


def test_a_burning_arc_is_never_lapsed():
    _, found = decide([span(1, 0)], arcs_of((10, None)), now=100_000)
    assert found.ends[0].assumed_us is None


def test_pauses_are_reported_with_their_ends():
    _, found = decide([span(1, 0)], arcs_of((10, 40), (400, 410)), now=420)
    assert [(q.start_us, q.end_us) for q in found.quiets] == [(40 * S, 400 * S)]


def test_clusters_split_where_nothing_burnt_for_longer_than_the_gap():
    """Ends at 40, next at 940 (900 s: together), next at 1851 (901 s: apart)."""
    found = clusters(arcs_of((10, 40), (940, 950), (1851, 1860)), gap_us=GAP)
    assert [cluster.keys for cluster in found] == [("a1", "a2"), ("a3",)]
    assert [cluster.arc_s for cluster in found] == [40.0, 9.0]


@st.composite
def worlds(draw):
    at, arcs, spans = 0, [], []
    for index in range(draw(st.integers(1, 25))):
        at += draw(st.integers(1, 1500))
        length = draw(st.integers(1, 60))
        arcs.append(
            ArcInput(
                f"a{index}",
                "north",
                draw(st.sampled_from("12")),
                at * S,
                (at + length) * S,
                draw(st.sampled_from([None, 0, 1])),
            )
        )
    for index in range(draw(st.integers(0, 6))):
        start = draw(st.integers(0, 20_000))
        end = draw(st.one_of(st.none(), st.integers(1, 5000)))
        spans.append(
            span(
                index + 1,
                start,
                None if end is None else start + end,
                run=f"r{index % 2}",
                torch=draw(st.sampled_from("12")),
                plan=draw(st.lists(st.floats(1, 60), max_size=8)),
            )
        )
    return spans, arcs


@given(worlds(), st.randoms(use_true_random=False))
def test_every_arc_is_decided_once_whatever_the_order_of_arrival(world, shuffle: random.Random):
    spans, arcs = world
    plain = match(spans, arcs, said={}, gap_us=GAP, now_us=10**12)
    mixed_arcs, mixed_spans = arcs[:], spans[:]
    shuffle.shuffle(mixed_arcs)
    shuffle.shuffle(mixed_spans)
    assert match(mixed_spans, mixed_arcs, said={}, gap_us=GAP, now_us=10**12) == plain
    assert sorted(d.key for d in plain.decisions) == sorted(a.key for a in arcs)
    by_id = {s.id: s for s in spans}
    for arc, decision in zip(
        sorted(arcs, key=lambda a: (a.on_us, a.key)), plain.decisions, strict=True
    ):
        if decision.segment is not None:
            held = by_id[decision.segment]
            assert held.torch == arc.torch
            assert arc.off_us is None or arc.off_us > held.start_us
            if held.pressed:
                assert arc.on_us < held.end_us


@given(st.lists(st.tuples(st.integers(0, 200), st.integers(0, 30))))
def test_union_agrees_with_counting_every_microsecond(pairs):
    intervals = [(start, start + length) for start, length in pairs]
    counted = {tick for start, end in intervals for tick in range(start, end)}
    assert union_us(intervals) == len(counted)
