"""A source reads what the settings allow, whatever its description or the folder says."""

from __future__ import annotations

import os
import pty
import shutil
import threading
from pathlib import Path

import pytest

from telemetry.description import Source
from telemetry.errors import DescriptionError, NotAllowed, SourceError
from telemetry.feeds.limits import Limits, default_dirs
from telemetry.models import Feed, Health, Reject
from telemetry.paths import journals_folder
from telemetry.selectors import feed_health, feed_status
from telemetry.services import feed_register
from telemetry.worker import run_once, run_until
from tests.telemetry.feeds.test_csv_file import rows
from tests.telemetry.table_lines import feed_text

SECRET = "the-key-of-the-shop"


@pytest.fixture
def place(tmp_path, settings) -> Path:
    """A folder that may be read; beside it lies a secret, and another in the data folder."""
    allowed = tmp_path / "sources"
    allowed.mkdir()
    settings.SOURCE_DIRS = (allowed,)
    (tmp_path / "secret").write_text(SECRET + "\n")
    (settings.DATA_DIR / "secret.key").write_text(SECRET + "\n")
    return allowed


def refused(path: Path | str, kind: str = "csv_file") -> str:
    with pytest.raises(NotAllowed) as problem:
        Limits.of_shop().check(Source(kind, path=str(path)))
    return problem.value.message


def refused_port(port: str) -> str:
    with pytest.raises(NotAllowed) as problem:
        Limits.of_shop().check(Source("serial", port=port))
    return problem.value.message


def told_nothing(feed: Feed) -> bool:
    """Whether nothing of the secret came in, neither as a row nor in the journal."""
    journal = b"".join(path.read_bytes() for path in journals_folder().rglob("*.journal"))
    rejects = b"".join(bytes(raw) for raw in Reject.objects.values_list("raw", flat=True))
    return SECRET.encode() not in journal + rejects


class TestPaths:
    def test_below_a_listed_folder_all_is_allowed_though_it_is_not_there_yet(self, place):
        for path in (place, place / "t.csv", place / "a" / "b.csv", place / ".." / place.name):
            Limits.of_shop().check(Source("csv_file", path=str(path)))

    def test_elsewhere_is_refused_with_the_name_of_the_setting(self, place, tmp_path):
        beside = tmp_path / "sources2"  # begins with the name of one that is listed
        for path in (
            "/etc/passwd",
            tmp_path / "secret",
            place / ".." / "secret",
            beside / "x",
            "x",
        ):
            assert f"KERFBOOK_SOURCE_DIRS ({place})" in refused(path)
            assert "KERFBOOK_SOURCE_DIRS" in refused(path, "csv_folder")
        assert "no path" in refused("/x\0y")

    def test_links_are_followed_before_they_are_judged(self, place, tmp_path):
        (place / "file").symlink_to(tmp_path / "secret")
        (place / "folder").symlink_to("/etc")
        assert "KERFBOOK_SOURCE_DIRS" in refused(place / "file")
        assert "KERFBOOK_SOURCE_DIRS" in refused(place / "folder" / "passwd")
        (tmp_path / "way-in").symlink_to(place)
        Limits.of_shop().check(Source("csv_file", path=str(tmp_path / "way-in" / "t.csv")))

    def test_the_data_folder_is_never_read_though_the_folder_above_it_is_listed(
        self, place, tmp_path, settings
    ):
        settings.SOURCE_DIRS = (tmp_path,)
        Limits.of_shop().check(Source("csv_file", path=str(tmp_path / "secret")))
        (place / "key").symlink_to(settings.DATA_DIR / "secret.key")
        for path in (settings.DATA_DIR, settings.DATA_DIR / "secret.key", place / "key"):
            assert "data folder" in refused(path)
            assert "KERFBOOK_SOURCE_DIRS" in refused(path)

    def test_where_nothing_is_set_it_is_one_folder_beside_the_data_folder(
        self, place, tmp_path, settings
    ):
        settings.SOURCE_DIRS = None
        assert default_dirs() == (tmp_path / "sources",)
        Limits.of_shop().check(Source("csv_file", path=str(place / "t.csv")))
        assert "KERFBOOK_SOURCE_DIRS" in refused(tmp_path / "secret")

    def test_a_collector_reads_where_its_starter_can_unless_the_setting_is_made(
        self, place, tmp_path, settings
    ):
        secret = Source("csv_file", path=str(tmp_path / "secret"))
        with pytest.raises(NotAllowed):
            Limits.of_collector().check(secret)
        settings.SOURCE_DIRS = None
        Limits.of_collector().check(secret)
        with pytest.raises(NotAllowed, match="data folder"):
            Limits.of_collector().check(
                Source("csv_file", path=str(settings.DATA_DIR / "secret.key"))
            )

    def test_what_was_opened_is_judged_too(self, place, tmp_path, monkeypatch):
        """As if the link had been put in between judging the path and opening it."""
        (place / "t.csv").symlink_to(tmp_path / "secret")
        monkeypatch.setattr(Limits, "check_path", lambda *_: None)
        with pytest.raises(NotAllowed, match="KERFBOOK_SOURCE_DIRS"):
            Limits.of_shop().open_file(place / "t.csv")

    def test_a_pipe_or_folder_in_a_files_place_is_refused_and_holds_nobody(self, place):
        os.mkfifo(place / "pipe")
        for name in ("pipe", "."):
            with pytest.raises(NotAllowed, match="no regular file"):
                Limits.of_shop().open_file(place / name)


class TestPorts:
    def test_a_device_is_allowed_by_any_name_and_one_that_is_not_plugged_in(self, tmp_path):
        master, slave = pty.openpty()
        (tmp_path / "table").symlink_to(os.ttyname(slave))
        (tmp_path / "unplugged").symlink_to("/dev/pts/none")
        for port in (os.ttyname(slave), tmp_path / "table", "/dev/ttyUSB9", tmp_path / "unplugged"):
            Limits.of_shop().check(Source("serial", port=str(port)))
        assert Limits.of_shop().port(str(tmp_path / "table")) == os.ttyname(slave)
        os.close(master)
        os.close(slave)

    def test_what_is_no_device_is_refused(self, tmp_path):
        (tmp_path / "secret").touch()
        (tmp_path / "link").symlink_to(tmp_path / "secret")
        for port in ("/etc/passwd", tmp_path / "secret", tmp_path / "link", tmp_path / "none",
                     "/dev", "/dev/../etc/passwd", "COM3", "/dev/x\0"):  # fmt: skip
            assert "KERFBOOK_PORT_SCHEMES" in refused_port(str(port))

    @pytest.mark.parametrize("scheme", ["spy", "SPY", "alt", "loop", "hwgrep", "cp2110", "file"])
    def test_other_schemes_than_those_listed_are_refused(self, tmp_path, scheme):
        url = f"{scheme}:///dev/null?file={tmp_path / 'emptied'}"
        assert "KERFBOOK_PORT_SCHEMES (socket, rfc2217)" in refused_port(url)

    def test_listed_ones_are_allowed(self, settings):
        for url in ("socket://10.0.0.9:4000", "RFC2217://10.0.0.9:4000"):
            Limits.of_shop().check(Source("serial", port=url))
        settings.PORT_SCHEMES = ("loop",)
        Limits.of_shop().check(Source("serial", port="loop://"))
        assert "(loop)" in refused_port("socket://10.0.0.9:4000")

    @pytest.mark.django_db
    def test_a_stored_port_is_judged_again_before_it_is_opened(self, tmp_path, settings):
        written = tmp_path / "emptied"
        written.write_text("kept")
        settings.PORT_SCHEMES = ("spy",)
        port = f'kind = "serial"\nport = "spy:///dev/null?file={written}"'
        text = feed_text("x").replace('kind = "csv_file"\npath = "x"', port)
        feed = feed_register(name="t", text=text, by="test")
        settings.PORT_SCHEMES = ("socket",)
        with pytest.raises(NotAllowed, match="KERFBOOK_PORT_SCHEMES"):
            run_once([feed])
        assert written.read_text() == "kept"


@pytest.mark.django_db
class TestReading:
    @pytest.mark.parametrize(
        ("source", "setting", "line"),
        [
            ('kind = "csv_file"\npath = "/etc/passwd"', "source.path: /etc/passwd", 5),
            ('kind = "csv_folder"\npath = "/etc"', "source.path: /etc is not", 5),
            ('kind = "serial"\nbaud = 9600\nport = "spy:///dev/null"', "source.port: spy://", 6),
        ],
    )
    def test_registering_is_refused_in_one_line(self, place, source, setting, line):
        text = feed_text("x").replace('kind = "csv_file"\npath = "x"', source)
        with pytest.raises(DescriptionError) as problem:
            feed_register(name="t", text=text, source_name="f.toml")
        assert problem.value.message.startswith(f"f.toml:{line}: {setting}")
        assert "KERFBOOK_" in problem.value.message
        assert "\n" not in problem.value.message
        assert not Feed.objects.exists()

    def test_a_stored_source_that_is_no_longer_allowed_is_not_read_and_the_others_are(
        self, place, tmp_path, settings
    ):
        settings.SOURCE_DIRS = (tmp_path,)
        bad = feed_register(name="bad", text=feed_text(tmp_path / "secret"), by="test")
        (place / "t.csv").write_text(rows(1, 3))
        good = feed_register(name="good", text=feed_text(place / "t.csv"), by="test")
        settings.SOURCE_DIRS = (place,)
        with pytest.raises(SourceError, match="KERFBOOK_SOURCE_DIRS"):
            run_once([bad, good])
        assert feed_status(good)["lines"] == 3
        assert told_nothing(bad)

    def test_a_link_put_in_the_files_place_is_not_followed(self, place, tmp_path):
        path = place / "t.csv"
        path.write_text(rows(1, 3))
        feed = feed_register(name="t", text=feed_text(path), by="test")
        run_once([feed])
        path.unlink()
        path.symlink_to(tmp_path / "secret")
        with pytest.raises(NotAllowed, match="KERFBOOK_SOURCE_DIRS"):
            run_once([feed])
        path.unlink()
        path.write_text(rows(1, 4))
        run_once([feed])
        assert feed_status(feed)["lines"] == 4
        assert told_nothing(feed)

    def test_a_rotated_file_is_not_followed_out_of_the_folder(self, place, tmp_path):
        path, outside = place / "t.csv", tmp_path / "outside.csv"
        path.write_text(rows(1, 3))
        feed = feed_register(name="t", text=feed_text(path), by="test")
        run_once([feed])
        shutil.move(path, outside)  # the same file, under another name
        with outside.open("a") as more:
            more.write(SECRET + "\n")
        (place / "t.csv.1").symlink_to(outside)
        path.write_text(rows(4, 5))
        run_once([feed])
        assert feed_status(feed)["lines"] == 5
        assert told_nothing(feed)

    def test_in_a_drop_folder_the_others_are_read_and_the_one_that_leads_out_is_told(
        self, place, tmp_path, settings
    ):
        (place / "a.csv").symlink_to(tmp_path / "secret")
        (place / "b.csv").symlink_to(settings.DATA_DIR / "secret.key")
        (place / "c.csv").write_text(rows(1, 3))
        text = feed_text(place).replace("csv_file", "csv_folder")
        feed = feed_register(name="t", text=text, by="test")
        with pytest.raises(NotAllowed, match=r"[ab]\.csv .*KERFBOOK_SOURCE_DIRS"):
            run_once([feed])
        (place / "a.csv").unlink()
        (place / "b.csv").unlink()
        run_once([feed])
        assert feed_status(feed)["lines"] == 3
        assert told_nothing(feed)


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_a_running_worker_says_why_it_does_not_read_one_and_reads_the_others(
    place, tmp_path, settings, caplog
):
    settings.SOURCE_DIRS = (tmp_path,)
    bad = feed_register(name="bad", text=feed_text(tmp_path / "secret"), by="test")
    (place / "t.csv").write_text(rows(1, 3))
    good = feed_register(name="good", text=feed_text(place / "t.csv"), by="test")
    settings.SOURCE_DIRS = (place,)
    told = {}

    def seen() -> bool:
        told.update(state=feed_health(bad).state, message=feed_health(bad).message)
        return bool(told["message"]) and feed_status(good)["lines"] == 3

    run_until([bad, good], threading.Event(), seen)
    assert told["state"] == "failed"
    assert "KERFBOOK_SOURCE_DIRS" in told["message"]
    assert feed_status(good)["lines"] == 3
    assert Health.objects.get(feed=bad).last_byte_us is None
    said = [record for record in caplog.records if "KERFBOOK_SOURCE_DIRS" in record.message]
    assert len(said) == 1  # not again at every attempt
    assert told_nothing(bad)
