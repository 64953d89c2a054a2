"""Arcs against a slow version that looks each torch's whole history over for every arc."""

from __future__ import annotations

import json

from hypothesis import given
from hypothesis import strategies as st

from telemetry.arcs.pairing import Arc, Pairer, pair
from telemetry.events import ARC_OFF, ARC_ON, PIERCE, PROGRAM, SAMPLE_A, SAMPLE_V, Event


def event(
    number: int, time_us: int, kind: int, torch: str = "1", value: float | None = None
) -> Event:
    text = f"P{number}" if kind == PROGRAM else None
    return Event(
        f"{number:032x}",
        time_us,
        kind,
        torch,
        number,
        0,
        "",
        value,
        text,
        0,
        number,
        number,
        None,
        "",
    )


@st.composite
def histories(draw: st.DrawFn) -> list[Event]:
    steps = draw(st.lists(st.tuples(
        st.integers(0, 3),
        st.sampled_from([ARC_ON, ARC_OFF, PIERCE, PROGRAM, SAMPLE_A, SAMPLE_V]),
        st.sampled_from(["1", "2"]),
        st.sampled_from([0.0, 40.0, 65.5]),
    ), max_size=40))  # fmt: skip
    made, now = [], 0
    for number, (step, kind, torch, value) in enumerate(steps):
        now += step
        made.append(event(number, now, kind, torch, value if kind >= SAMPLE_A else None))
    return made


def slow(events: list[Event]) -> tuple[list[Arc], int, int]:
    """Each arc_on taken by itself: what lies between it and the torch's next arc_on or arc_off."""
    arcs, owned_offs, owned_pierces = [], 0, 0
    for start in [e for e in events if e.kind == ARC_ON]:
        after = [e for e in events if e.torch == start.torch and e.seq > start.seq]
        stop = next((e for e in after if e.kind in (ARC_ON, ARC_OFF)), None)
        inside = [e for e in after if stop is None or e.seq < stop.seq]
        pierces = [e for e in inside if e.kind == PIERCE]
        shown = pierces + [e for e in inside if e.kind in (SAMPLE_A, SAMPLE_V) and e.value > 0]
        seen = max([start.time_us, *(e.time_us for e in shown)])
        programs = [
            e for e in events if e.torch == start.torch and e.kind == PROGRAM and e.seq < start.seq
        ]
        amps = [e.value for e in inside if e.kind == SAMPLE_A and e.value > 0]
        volts = [e.value for e in inside if e.kind == SAMPLE_V and e.value > 0]
        owned_pierces += len(pierces)
        if stop is None:
            off, ended = None, "open"
        elif stop.kind == ARC_OFF:
            off, ended = stop.time_us, "off"
            owned_offs += 1
        else:
            off, ended = seen, "lost"
        arcs.append(Arc(
            start.torch, start.key, start.time_us, off, len(pierces),
            pierces[0].time_us if pierces else None, ended,
            programs[-1].text if programs else None,
            sum(amps) / len(amps) if amps else None,
            sum(volts) / len(volts) if volts else None, seen,
        ))  # fmt: skip
    offs = sum(e.kind == ARC_OFF for e in events)
    pierces = sum(e.kind == PIERCE for e in events)
    return arcs, offs - owned_offs, pierces - owned_pierces


def by_key(arcs: list[Arc]) -> list[Arc]:
    return sorted(arcs, key=lambda arc: arc.key)


@given(histories())
def test_pairing_agrees_with_the_slow_version(events: list[Event]) -> None:
    found = pair(events, knows_pierces=True)
    arcs, stray_offs, stray_pierces = slow(events)
    assert by_key(found.arcs) == by_key(arcs)
    assert (len(found.stray_offs), len(found.stray_pierces)) == (stray_offs, stray_pierces)


@given(histories(), st.integers(0, 40))
def test_checkpoint_anywhere_changes_nothing(events: list[Event], cut: int) -> None:
    one = [e for e in events if e.torch == "1"]
    pairer = Pairer("1", knows_pierces=True)
    arcs = []
    for number, item in enumerate(one):
        if number == cut:
            pairer = Pairer.from_state(json.loads(json.dumps(pairer.state())))
        arcs.append(pairer.feed(item))
    arcs.append(pairer.open_arc())
    assert [arc for arc in arcs if arc] == by_key(pair(one, knows_pierces=True).arcs)


def test_second_arc_on_closes_the_first_as_lost_at_its_last_sign_of_burning() -> None:
    found = pair(
        [
            event(1, 0, ARC_ON),
            event(2, 5, PIERCE),
            event(3, 12, SAMPLE_A, value=65.0),
            event(4, 20, SAMPLE_A, value=0.0),
            event(5, 60, ARC_ON),
        ],
        knows_pierces=True,
    )
    first, second = found.arcs
    assert (first.off_us, first.ended, first.amps) == (12, "lost", 65.0)
    assert (second.off_us, second.ended) == (None, "open")


def test_program_without_a_torch_is_the_whole_tables() -> None:
    found = pair(
        [
            event(1, 0, ARC_ON, "1"),
            event(2, 1, ARC_OFF, "1"),
            event(3, 2, PROGRAM, ""),
            event(4, 3, ARC_ON, "1"),
            event(5, 3, ARC_ON, "2"),
        ],
        knows_pierces=False,
        programs={"1": "OLD"},
    )
    assert [arc.program for arc in found.arcs] == ["OLD", "P3", "P3"]
    assert {arc.pierces for arc in found.arcs} == {None}


@given(histories(), st.integers(0, 40))
def test_many_rows_at_once_pair_as_one_by_one(events: list[Event], cut: int) -> None:
    one = [e for e in events if e.torch == "1"]
    rows = [
        (bytes.fromhex(e.key), e.time_us, e.seq, 0, e.torch, e.kind, e.value, e.text) for e in one
    ]
    slowly, quickly = Pairer("1", knows_pierces=True), Pairer("1", knows_pierces=True)
    expected = []
    for item, row in zip(one, rows, strict=True):
        arc = slowly.feed(item)
        if arc is not None or slowly.stray:
            expected.append((arc, row))
    found = [*quickly.take_all(rows[:cut]), *quickly.take_all(rows[cut:])]
    assert found == expected
    assert quickly.state() == slowly.state()
