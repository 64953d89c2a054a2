"""Lines taken a few at a time come to exactly what the general and the columnar decoder make of
them."""

from __future__ import annotations

import json
import random

import pytest

from telemetry.decode.columnar import ColumnarDecoder
from telemetry.decode.few_lines import FewLinesDecoder
from telemetry.decode.general import Decoder
from telemetry.description import parse_description
from telemetry.events import Batch, Event
from tests.telemetry.decode.test_columnar import TOML, description_of, made, rest


def events_of(batch: Batch) -> list[Event]:
    return [*batch.events, *(event for run in batch.runs for event in run.events)]


@pytest.mark.parametrize("seed", range(60))
def test_few_lines_come_to_the_same_events_state_and_asides(seed: int) -> None:
    chance = random.Random(seed)
    description = description_of(chance)
    raw = made(description, chance, 300)
    one, many, few = (make(description) for make in (Decoder, ColumnarDecoder, FewLinesDecoder))
    at = 0
    while at < len(raw):
        block = raw[at : at + chance.choice([1, 7, 60, 250, 900, 1_900])]
        given = {"position": at, "arrival_us": at, "source": f"s{at // 9_000}"}
        at += len(block)
        first, second, third = (each.feed_block(block, **given) for each in (one, many, few))
        assert events_of(third) == events_of(second) == events_of(first)
        assert rest(third) == rest(second) == rest(first)
        assert json.dumps(few.state()) == json.dumps(many.state()) == json.dumps(one.state())
        if chance.random() < 0.2:
            few = FewLinesDecoder.from_state(description, json.loads(json.dumps(few.state())))
    first, second = one.flush(fragment="take"), few.flush(fragment="take")
    assert (events_of(second), rest(second)) == (events_of(first), rest(first))
    assert json.dumps(few.state()) == json.dumps(one.state())


@pytest.mark.parametrize("window_s", [0.0, 2.0])
def test_plain_lines_are_in_fact_taken_without_the_general_way(window_s, monkeypatch) -> None:
    description = parse_description(
        TOML.format(torch="", separator=",", columns='"seq", "time", "signal", "value"',
                    zone="UTC", window_s=window_s)
    )  # fmt: skip
    decoder = FewLinesDecoder(description)
    alone: list[bytes] = []
    real = Decoder._take
    monkeypatch.setattr(Decoder, "_take", lambda self, line: (alone.append(line), real(self, line)))
    taken = 0
    for n in range(200):
        stamp = f"2026-03-10T06:{n // 60:02}:{n % 60:02}" + ("", ".250", ".000123")[n % 3]
        raw = f"{n},{stamp},{('AMPS,61.5', 'PIERCE,', 'VOLTS,120')[n % 3]}\n".encode()
        batch = decoder.feed_block(raw, position=n * 100, arrival_us=1, source="s")
        taken += len(events_of(batch))
    assert len(alone) == 1  # the first, which follows nothing
    assert taken == 200 - (2 if window_s else 0)
