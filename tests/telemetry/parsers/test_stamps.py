"""Stamps against the examples of RFC 3339 and the United States' clock changes of 2026."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.errors import ParseError
from telemetry.events import AMBIGUOUS_TIME, LEAP_SECOND
from telemetry.parsers import stamps
from telemetry.parsers.stamps import EARLIEST_US, LATEST_US, epoch_us, make_reader

WINDOW_US = 2_000_000


def timed(format_: str, zone: str | None, window_us: int):
    """A reader's time and flags."""
    read = make_reader(format_, zone, window_us)
    return lambda text, newest_us: read(text, newest_us)[:2]


ISO = timed("iso", None, WINDOW_US)
CHICAGO = timed("iso", "America/Chicago", WINDOW_US)


def us(text: str) -> int:
    moment = datetime.fromisoformat(text)
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


@pytest.fixture
def any_year(monkeypatch: pytest.MonkeyPatch) -> None:
    """The RFC's examples are older than any feed: lift the guard against unset clocks."""
    monkeypatch.setattr(stamps, "EARLIEST_US", -(10**18))


@pytest.mark.usefixtures("any_year")
@pytest.mark.parametrize(
    ("text", "seconds", "flags"),
    [  # RFC 3339 section 5.8; seconds since 1970 worked out from the dates
        ("1985-04-12T23:20:50.52Z", 482196050.52, 0),
        ("1996-12-19T16:39:57-08:00", 851042397, 0),  # = 1996-12-20T00:39:57Z
        ("1990-12-31T23:59:60Z", 662688000, LEAP_SECOND),  # filed at 1991-01-01T00:00:00Z
        ("1990-12-31T15:59:60-08:00", 662688000, LEAP_SECOND),
        ("1937-01-01T12:00:27.87+00:20", -1041337172.13, 0),  # = 11:40:27.870Z
    ],
)
def test_examples_of_rfc_3339(text: str, seconds: float, flags: int) -> None:
    assert ISO(text, 0) == (round(seconds * 1e6), flags)


@pytest.mark.usefixtures("any_year")
def test_leap_second_of_2016_is_filed_as_posix_time_does() -> None:
    # 2017-01-01T00:00:00Z = 1483228800 though 23:59:60 existed.
    assert ISO("2016-12-31T23:59:59Z", 0)[0] == 1483228799_000000
    assert ISO("2016-12-31T23:59:60.25Z", 0) == (1483228800_250000, LEAP_SECOND)


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-02T16:00:60Z", "2026-03-02T16:00:61Z", "2026-03-02T24:00:00Z",
        "2026-13-01T00:00:00Z",
        "2026-02-29T00:00:00Z", "2026-03-02", "2026-03-02T16:00Z",
        "03/02/2026 16:00:00", "", "now",
        "2026-03-02T16:00:00+25:00", "2026-03-02T16:00:00.Z",
        "２026-03-02T16:00:00Z", "46083.66667",
        "2026-03-02T16:00:00",  # no offset, and no zone given
    ],
)  # fmt: skip
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(ParseError) as caught:
        ISO(text, 0)
    assert caught.value.reason == "bad time"


@pytest.mark.parametrize(
    "text", ["1970-01-01T00:00:01Z", "2000-01-01T00:00:00Z", "2099-12-31T23:59:59Z"]
)
def test_clock_that_was_never_set_is_refused(text: str) -> None:
    with pytest.raises(ParseError) as caught:
        ISO(text, 0)
    assert caught.value.reason == "time out of range"


def test_chicago_in_march_2026() -> None:
    # United States: clocks go from 02:00 CST to 03:00 CDT at 2026-03-08T08:00:00Z.
    assert CHICAGO("2026-03-08T01:59:59", 0) == (us("2026-03-08T07:59:59+00:00"), 0)
    assert CHICAGO("2026-03-08T03:00:00", 0) == (us("2026-03-08T08:00:00+00:00"), 0)
    for text in ("2026-03-08T02:00:00", "2026-03-08T02:30:00", "2026-03-08T02:59:59.9"):
        with pytest.raises(ParseError) as caught:
            CHICAGO(text, 0)
        assert caught.value.reason == "no such local time"


def test_chicago_in_november_2026_is_told_apart_by_order() -> None:
    # 01:30 happens twice: at 06:30Z and at 07:30Z; clocks go back at 07:00Z.
    early, late = us("2026-11-01T06:30:00+00:00"), us("2026-11-01T07:30:00+00:00")
    text = "2026-11-01T01:30:00"
    assert CHICAGO(text, 0) == (early, AMBIGUOUS_TIME)
    assert CHICAGO(text, early) == (early, AMBIGUOUS_TIME)
    assert CHICAGO(text, early + WINDOW_US) == (early, AMBIGUOUS_TIME)  # late within the window
    assert CHICAGO(text, early + WINDOW_US + 1) == (late, AMBIGUOUS_TIME)
    assert CHICAGO(text, us("2026-11-01T07:00:00+00:00")) == (late, AMBIGUOUS_TIME)
    assert CHICAGO("2026-11-01T02:00:00", 0) == (us("2026-11-01T08:00:00+00:00"), 0)
    assert CHICAGO("2026-11-01T01:30:00-06:00", 0) == (late, 0)  # an offset leaves no doubt


def test_every_second_of_the_two_hours_comes_out_in_order() -> None:
    newest = us("2026-11-01T05:59:59+00:00")
    for second in range(3 * 3600):  # 01:00 CDT = 06:00Z to 02:00 CST and an hour more
        moment = datetime(2026, 11, 1, 6, tzinfo=UTC) + timedelta(seconds=second)
        wall = moment.astimezone(ZoneInfo("America/Chicago")).strftime("%Y-%m-%dT%H:%M:%S")
        newest, _ = CHICAGO(wall, newest)
        assert newest == us(moment.isoformat())


@given(
    st.datetimes(
        min_value=datetime(2001, 1, 2), max_value=datetime(2089, 12, 30), timezones=st.timezones()
    )
)
def test_stamp_with_an_offset_reads_as_the_standard_library_does(moment: datetime) -> None:
    text = moment.isoformat(timespec="microseconds")
    if len(text) != len("2026-03-02T16:00:00.000000+00:00"):
        return  # offsets with seconds are no RFC 3339
    assert ISO(text, 0)[0] == us(text)


@given(st.integers(EARLIEST_US, LATEST_US - 1))
def test_epoch_stamps_keep_every_microsecond(time_us: int) -> None:
    seconds, part = divmod(time_us, 1_000_000)
    assert timed("epoch_s", None, 0)(f"{seconds}.{part:06d}", 0) == (time_us, 0)
    millis, part = divmod(time_us, 1000)
    assert timed("epoch_ms", None, 0)(f"{millis}.{part:03d}", 0) == (time_us, 0)


def test_a_mark_tells_wall_times_and_offsets_apart_and_knows_no_zone() -> None:
    def mark(text: str, zone: str | None = "UTC") -> int:
        return make_reader("iso", zone, 0)(text, 0)[2]

    bare, zulu, five = (mark(f"2026-03-02T16:00:00{end}") for end in ("", "Z", "+05:00"))
    assert len({bare, zulu, five}) == 3
    assert bare == mark("2026-03-02T16:00:00.000", "Asia/Tokyo")
    # A microsecond on counts more than any offset: marks grow as stamps do.
    assert max(bare, zulu, five) < mark("2026-03-02T16:00:00.000001")
    assert bare >> 12 == us("2026-03-02T16:00:00+00:00")


@pytest.mark.parametrize(
    "text", ["1.7724672E+09", "1,772,467,200", "-1", "", "1772467200s", "0x10"]
)
def test_mangled_epoch_is_refused(text: str) -> None:
    with pytest.raises(ParseError) as caught:
        epoch_us(text, 6)
    assert caught.value.reason == "bad time"


@pytest.mark.parametrize(
    ("format_", "text", "means"),
    [
        ("month_day_year", "11/29/2026 14:00:00", "2026-11-29T14:00:00-06:00"),
        ("month_day_year", "6/5/2026 12:00:00 AM", "2026-06-05T00:00:00-05:00"),
        ("month_day_year", "6/5/2026 12:30:00 pm", "2026-06-05T12:30:00-05:00"),
        ("day_month_year", "29.11.2026 14:00:00,5", "2026-11-29T14:00:00.5-06:00"),
        ("day_month_year", "05-06-2026, 9:00:00 +02:00", "2026-06-05T09:00:00+02:00"),
    ],
)
def test_stamps_of_spreadsheets(format_: str, text: str, means: str) -> None:
    assert timed(format_, "America/Chicago", WINDOW_US)(text, 0) == (us(means), 0)


@pytest.mark.parametrize(
    "text", ["29/11/2026 14:00:00", "2/30/2026 14:00:00", "6/5/2026 13:00:00 PM", "6/5/2026 9:00",
             "6/5/26 09:00:00", "2026-06-05 09:00:00"],
)  # fmt: skip
def test_no_such_date_of_month_first(text: str) -> None:
    with pytest.raises(ParseError) as refused:
        timed("month_day_year", "America/Chicago", WINDOW_US)(text, 0)
    assert refused.value.reason == "bad time"


def test_an_iso_feed_with_such_stamps_says_what_reads_them() -> None:
    assert "month_day_year" in str(refused_of("11/29/2026 14:00:00"))
    assert "month_day_year" in str(refused_of("11/9/2026 2:00:00 PM"))
    assert "month_day_year" not in str(refused_of("soon"))


def refused_of(text: str) -> ParseError:
    with pytest.raises(ParseError) as refused:
        CHICAGO(text, 0)
    return refused.value
