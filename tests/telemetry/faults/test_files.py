"""Faults of files and their contents: numbers 22, 25 to 29, 32 and 35, from file to rows."""

from __future__ import annotations

import pytest

from telemetry.description import parse_description
from telemetry.errors import DescriptionError
from telemetry.models import Arc, Event, Reject
from telemetry.selectors import feed_status
from telemetry.services import feed_register
from telemetry.worker import run_once
from tests.telemetry.faults.oracles import alive, conserved
from tests.telemetry.feeds.test_csv_file import rows
from tests.telemetry.table_lines import feed_text

pytestmark = pytest.mark.django_db
HEADER = "seq,time,torch,signal,value\n"


def read(tmp_path, raw: bytes, change=lambda text: text):
    """The feed after this file was read; what it came to is what the bytes say."""
    path = tmp_path / "t.csv"
    path.write_bytes(raw)
    feed = feed_register(name="t", text=change(feed_text(path)), by="test")
    run_once([feed])
    conserved(feed, raw)
    return feed


def reasons() -> list[str]:
    return sorted(Reject.objects.values_list("reason", flat=True))


def test_22_two_files_with_the_same_long_header_are_two_files(tmp_path):
    drop = tmp_path / "drop"
    drop.mkdir()
    header = "# " + "the same words in every file " * 60 + "\n" + HEADER
    (drop / "a.csv").write_text(header + rows(1, 30))
    (drop / "b.csv").write_text(header + rows(31, 60))
    text = feed_text(drop).replace("csv_file", "csv_folder")
    feed = feed_register(name="t", text=text, by="test")
    run_once([feed])
    assert feed_status(feed)["events"] == 60
    (drop / "c.csv").write_text(header + rows(61, 70))
    with (drop / "a.csv").open("a") as file:
        file.write(rows(71, 75))
    run_once([feed])
    assert feed_status(feed)["events"] == 75
    assert feed_status(feed)["gaps"] == 0


def test_25_a_byte_order_mark_is_no_part_of_the_first_line(tmp_path):
    feed = read(tmp_path, b"\xef\xbb\xbf" + (HEADER + rows(1, 5)).encode())
    assert (feed_status(feed)["events"], reasons()) == (5, [])


def test_25_utf_16_is_refused_by_name(tmp_path):
    read(tmp_path, (HEADER + rows(1, 2)).encode("utf-16"))
    assert set(reasons()) == {"utf-16"}


def test_25_cp1252_is_refused_as_no_text_until_the_feed_says_so(tmp_path):
    line = "1,2026-03-10T06:00:00,,PROGRAM,Träger 4.nc\n".encode("cp1252")
    feed = read(tmp_path, line + rows(2, 3).encode())
    assert reasons() == ["not text"]
    text = feed_text(tmp_path / "t.csv").replace("[line]", '[line]\nencoding = "cp1252"')
    feed = feed_register(name="t", text=text, by="test")
    run_once([feed])
    assert Event.objects.get(feed=feed, kind=4).text == "Träger 4.nc"
    assert feed_status(feed)["rejected"] == 0


def test_26_semicolons_and_decimal_commas_are_a_dialect_and_a_mixture_is_kept_aside(tmp_path):
    def change(text: str) -> str:
        return text.replace("[line]", '[line]\nseparator = ";"\ndecimal = ","')

    raw = rows(1, 2).replace(",", ";") + (
        "3;2026-03-10T06:00:03;1;AMPS;61,5\n4;2026-03-10T06:00:04;1;AMPS;1.061,5\n"
        "5;2026-03-10T06:00:05;1;AMPS;61.5\n"
    )
    read(tmp_path, raw.encode(), change)
    assert Event.objects.get(seq=3).number == 61.5
    assert reasons() == ["bad value", "bad value"]


def test_26_a_decimal_comma_beside_a_comma_separator_is_refused_at_once():
    text = feed_text("x").replace("[line]", '[line]\ndecimal = ","')
    with pytest.raises(DescriptionError, match="cannot be told from the separator"):
        parse_description(text)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("1.00E+05,2026-03-10T06:00:00,1,PIERCE,", "bad seq"),
        ("1,03/10/2026 06:00,1,PIERCE,", "bad time"),
        ("1,46091.25,1,PIERCE,", "bad time"),
        ("1,10.03.2026 06:00:00,1,PIERCE,", "bad time"),
        ("1,2026-03-10 06:00,1,PIERCE,", "bad time"),  # the seconds are gone
        ("1,2026-03-10T06:00:00,1,AMPS,6.1E+", "bad value"),
        ("1,2026-03-10T06:00:00,1,AMPS,12. Mrz", "bad value"),
        ("1,2026-03-10T06:00:00,1,AMPS,#REF!", "bad value"),
        ('1,2026-03-10T06:00:00,1,AMPS,"1,061.5"', "bad value"),
    ],
)
def test_27_what_a_spreadsheet_made_of_numbers_and_dates_is_kept_aside_never_guessed(
    tmp_path, line, reason
):
    feed = read(tmp_path, f"{line}\n{rows(2, 3)}".encode())
    assert reasons() == [reason]
    assert bytes(Reject.objects.get().raw).decode() == line
    assert feed_status(feed)["events"] == 2


def test_28_a_time_without_an_offset_needs_the_feeds_zone(tmp_path):
    raw = rows(1, 2) + "3,2026-03-10T06:00:03Z,1,PIERCE,\n"
    feed = read(tmp_path, raw.encode(), lambda text: text.replace('zone = "UTC"\n', ""))
    assert reasons() == ["bad time", "bad time"]
    assert feed_status(feed)["events"] == 1


AUTUMN = [  # Chicago, 2026-11-01: 01:00 to 02:00 twice; 06:00Z to 08:00Z
    "1,2026-11-01T01:50:00,1,ARC ON,", "2,2026-11-01T01:10:00,1,ARC OFF,",
    "3,2026-11-01T01:20:00,1,ARC ON,", "4,2026-11-01T02:05:00,1,ARC OFF,",
]  # fmt: skip


def test_29_in_the_repeated_hour_lines_are_told_apart_by_their_order(tmp_path):
    read(
        tmp_path, ("\n".join(AUTUMN) + "\n").encode(),
        lambda text: text.replace('"UTC"', '"America/Chicago"'),
    )  # fmt: skip
    # 01:50 CDT to 01:10 CST is 20 minutes; 01:20 CST to 02:05 CST is 45.
    assert [arc.seconds for arc in Arc.objects.order_by("on_us")] == [1200.0, 2700.0]


def test_30_a_time_inside_the_hour_that_spring_skips_is_flagged_not_shifted(tmp_path):
    raw = "1,2026-03-08T02:30:00,1,ARC ON,\n2,2026-03-08T03:00:00,1,PIERCE,\n"
    read(tmp_path, raw.encode(), lambda text: text.replace('"UTC"', '"America/Chicago"'))
    assert reasons() == ["no such local time"]


def test_32_times_of_a_clock_that_was_never_set_are_kept_aside(tmp_path):
    raw = "1,1970-01-01T00:00:09,1,ARC ON,\n2,2099-12-31T23:59:59,1,ARC OFF,\n" + rows(3, 4)
    feed = read(tmp_path, raw.encode())
    assert reasons() == ["time out of range", "time out of range"]
    assert feed_status(feed)["events"] == 2
    alive(feed, tmp_path / "t.csv", rows(5, 5))


def test_33_identical_lines_of_one_second_are_all_kept_and_reading_them_again_adds_none(tmp_path):
    path = tmp_path / "t.csv"
    raw = "2026-03-10T06:00:00,1,ARC ON,\n" + "2026-03-10T06:00:01,1,PIERCE,\n" * 3
    path.write_text(raw)
    feed = feed_register(name="t", text=feed_text(path, numbered=False), by="test")
    run_once([feed])
    assert Arc.objects.get().pierces == 3
    other = path.with_suffix(".new")
    other.write_text(raw)
    other.replace(path)
    run_once([feed])
    assert (feed_status(feed)["events"], feed_status(feed)["duplicates"]) == (4, 0)


def test_34_a_pierce_that_comes_late_is_counted_into_the_arc_it_belongs_to(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text(
        "1,2026-03-10T06:00:00,1,ARC ON,\n3,2026-03-10T06:00:09,1,ARC OFF,\n"
        "4,2026-03-10T06:10:00,1,ARC ON,\n"
    )
    feed = feed_register(name="t", text=feed_text(path), by="test")
    run_once([feed])
    assert list(Arc.objects.order_by("on_us").values_list("pierces", flat=True)) == [0, 0]
    with path.open("a") as file:
        file.write("2,2026-03-10T06:00:01,1,PIERCE,\n")
    run_once([feed])
    assert (feed_status(feed)["events"], feed_status(feed)["gaps"]) == (4, 0)
    assert list(Arc.objects.order_by("on_us").values_list("pierces", flat=True)) == [1, 0]


def test_35_columns_moved_by_a_new_header_are_mapped_and_without_one_kept_aside(tmp_path):
    raw = (
        HEADER + rows(1, 3) + "signal,value,time,seq,torch\nPIERCE,,2026-03-10T06:00:04,4,1\n"
        "5,2026-03-10T06:00:05,1,PIERCE,\n" + HEADER + rows(6, 8)
    )
    feed = read(tmp_path, raw.encode())
    assert feed_status(feed)["events"] == 7
    assert Event.objects.get(seq=4).kind == 3
    assert len(reasons()) == 1
    assert bytes(Reject.objects.get().raw) == b"5,2026-03-10T06:00:05,1,PIERCE,"
