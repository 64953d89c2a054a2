"""Feed descriptions: what they may say, and how they say what is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from telemetry.description import parse_description, read_description
from telemetry.errors import DescriptionError
from telemetry.events import ARC_ON, PIERCE

FULL = """table = "north"
torch = "1"
[source]
kind = "serial"
port = "/dev/ttyUSB0"
baud = 115200
[line]
format = "columns"
separator = ","
columns = ["seq", "time", "signal", "value"]
checksum = "none"
[time]
from = "line"
format = "iso"
zone = "America/Chicago"
[signals]
arc_on = ["ARC ON", "ON"]
arc_off = ["ARC OFF"]
pierce = ["PIERCE"]
[knows]
contact = "transfer"
pierces = true
[order]
window_s = 2.0
"""


def test_full_description_reads() -> None:
    feed = parse_description(FULL)
    assert (feed.table, feed.torch, feed.window_s, feed.has_seq) == ("north", "1", 2.0, True)
    assert (feed.source.kind, feed.source.port, feed.source.baud) == (
        "serial",
        "/dev/ttyUSB0",
        115200,
    )
    assert feed.signals["ON"] == ARC_ON
    assert feed.signals["PIERCE"] == PIERCE
    assert (feed.knows.contact, feed.knows.pierces) == ("transfer", True)
    assert not feed.times_from_arrival


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('kind = "serial"', 'kind = "modem"',
         "F:4: kind: unknown value 'modem', allowed: serial, csv_file, csv_folder, push"),
        ("baud = 115200", 'baud = "fast"', "F:6: baud: 'fast' is not a whole number"),
        ("baud = 115200", "baud = 1", "F:6: baud: 1 is out of range, allowed: 50 to 1e+07"),
        ('"columns"', '"colums"',
         "F:8: format: unknown value 'colums', allowed: columns, pairs, json, level"),
        ('"value"]', '"vlaue"]',
         "F:10: columns: unknown column 'vlaue', "
         "allowed: seq, time, signal, value, torch, ignore"),
        ('"value"]', '"seq"]', "F:10: columns: seq is listed twice"),
        ('"signal", ', "", "F:10: columns: signal is missing"),
        ('"time", ', "", "F:13: from: is line, but no column or name is time"),
        ('"none"', '"crc"',
         "F:11: checksum: unknown value 'crc', "
         "allowed: none, xor, crc16-ccitt-false, crc16-modbus"),
        ("separator", "seperator", "F:9: seperator: unknown key, allowed: "),
        ("America/Chicago", "America/Chicargo", "F:15: zone: unknown zone 'America/Chicargo'"),
        ("America/Chicago", "../etc/passwd", "F:15: zone: unknown zone"),
        ('["PIERCE"]', '["ON"]', "F:19: pierce: 'ON' is listed for two signals"),
        ('["PIERCE"]', "[1]", "F:19: pierce: must be a list of words"),
        ("pierce =", "peirce =", "F:19: peirce: unknown key, allowed: arc_on, arc_off, pierce"),
        ('arc_on = ["ARC ON", "ON"]', "", "F:16: arc_on: no word is listed for it"),
        ("pierces = true", 'pierces = "yes"', "F:22: pierces: 'yes' is not true or false"),
        ('"transfer"', '"relay"',
         "F:21: contact: unknown value 'relay', allowed: torch_on, pilot, transfer"),
        ("window_s = 2.0", "window_s = -1",
         "F:24: window_s: -1 is out of range, allowed: 0 to 3600"),
        ("window_s = 2.0", "window_s = nan", "F:24: window_s: nan is not a number"),
        ("[order]", "[oder]", "F:23: oder: unknown key"),
        ('table = "north"', "", "F:1: table: is missing"),
        # The tables hold 60 and 20 letters.
        ('"north"', f'"{"n" * 61}"', f"F:1: table: '{'n' * 61}' is not a name of 1 to 60 letters"),
        ('torch = "1"', f'torch = "{"t" * 21}"',
         f"F:2: torch: '{'t' * 21}' is not a name of 1 to 20 letters"),
        ('torch = "1"', 'torch = "1', "F:2: "),
        ('checksum = "none"', "debounce_s = 1", "F:11: debounce_s: is for format level only"),
        ('checksum = "none"', "on_from = 20", "F:11: on_from: is for format level only"),
        ("[source]", "source = 1\n[sourc]", "F:3: source: must be a table"),
    ],
)  # fmt: skip
def test_error_names_line_key_and_what_is_allowed(old: str, new: str, message: str) -> None:
    assert old in FULL
    with pytest.raises(DescriptionError) as caught:
        parse_description(FULL.replace(old, new, 1), name="F")
    assert str(caught.value).startswith(message)
    assert "\n" not in str(caught.value)


def test_pierces_are_known_where_a_word_is_listed_unless_denied() -> None:
    bare = FULL.replace("pierces = true\n", "")
    assert parse_description(bare).knows.pierces
    assert not parse_description(FULL.replace("pierces = true", "pierces = false")).knows.pierces
    assert not parse_description(FULL.replace('pierce = ["PIERCE"]\n', "")).knows.pierces


def test_torch_may_be_a_column() -> None:
    feed = parse_description(
        FULL.replace('torch = "1"\n', "").replace('"signal",', '"torch", "signal",')
    )
    assert feed.torch is None


def test_a_measured_level_is_on_from_more_than_nothing() -> None:
    text = 'table = "south"\n[line]\nformat = "level"\non_from = 0\n'
    with pytest.raises(DescriptionError, match="F:4: on_from: must be more than 0"):
        parse_description(text, name="F")


def test_bare_level_needs_very_little() -> None:
    feed = parse_description('table = "south"\n[line]\nformat = "level"\n')
    assert (feed.torch, feed.times_from_arrival, feed.line.columns) == ("1", True, ("level",))
    assert not feed.knows.pierces


@pytest.mark.parametrize("format_", ["pairs", "json"])
def test_named_fields_need_a_signal(format_: str) -> None:
    line = f'[line]\nformat = "{format_}"\nnames = {{time = "T"}}\n'
    text = 'table = "n"\n' + line + '[signals]\narc_on = "A"\n'
    with pytest.raises(DescriptionError, match="names: must say which name is the signal"):
        parse_description(text)


def test_file_that_is_missing_or_not_text_is_named(tmp_path: Path) -> None:
    with pytest.raises(DescriptionError, match=r"no\.toml:1: No such file"):
        read_description(tmp_path / "no.toml")
    (tmp_path / "bad.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(DescriptionError, match=r"bad\.toml:1: not UTF-8"):
        read_description(tmp_path / "bad.toml")
