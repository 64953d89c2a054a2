"""Coverage-guided fuzzing of decoding, on demand: `python -m tests.telemetry.fuzz` (atheris and
libFuzzer's options, say `-max_total_time=600`). The first byte chooses the description."""

from __future__ import annotations

import sys
from pathlib import Path

import atheris

with atheris.instrument_imports():
    from telemetry.decode.columnar import ColumnarDecoder
    from telemetry.decode.few_lines import FewLinesDecoder
    from telemetry.decode.general import Decoder
    from telemetry.description import parse_description

FEEDS = sorted((Path(__file__).parents[2] / "fixtures" / "feeds").glob("*/feed.toml"))
DESCRIPTIONS = [parse_description(path.read_text()) for path in FEEDS]


def one(data: bytes) -> None:
    """All decoders take any bytes, and come to the same."""
    description = DESCRIPTIONS[data[0] % len(DESCRIPTIONS)] if data else DESCRIPTIONS[0]
    found = []
    for make in (Decoder, ColumnarDecoder, FewLinesDecoder):
        decoder = make(description)
        lines, at = 0, 1
        while at < len(data):
            size = 4097 if at % 2 else 255  # long blocks and short ones by turns
            batch = decoder.feed_block(
                data[at : at + size], position=at - 1, arrival_us=at, source="fuzz"
            )
            lines, at = lines + batch.lines, at + size
        rest = decoder.flush(fragment="take")
        found.append((lines + rest.lines, decoder.state()))
    assert found[0] == found[1] == found[2]


if __name__ == "__main__":
    atheris.Setup(sys.argv, one)
    atheris.Fuzz()
