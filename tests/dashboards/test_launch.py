"""What `start` looks at before it starts anything."""

from __future__ import annotations

import pytest
from django.core.management import load_command_class

from dashboards import launch


@pytest.mark.parametrize("port", [0, -1, 65536, 10**9])
def test_a_port_there_is_not_is_refused(port):
    with pytest.raises(launch.StartError, match="a port is 1 to 65535"):
        launch.check_port("127.0.0.1", port)


def test_a_folder_that_cannot_be_is_refused_by_name(tmp_path):
    (tmp_path / "a-file").write_text("")
    with pytest.raises(launch.StartError, match="a-file/data: cannot hold the data"):
        launch.take_folder(tmp_path / "a-file" / "data")


def test_a_folder_is_taken_once(tmp_path):
    with launch.take_folder(tmp_path), pytest.raises(launch.StartError, match="already in use"):
        launch.take_folder(tmp_path)
    launch.take_folder(tmp_path).close()


@pytest.mark.parametrize(
    ("bind", "address"), [("127.0.0.1", "127.0.0.1:8000"), ("::1", "[::1]:8000")]
)
def test_an_address_of_six_is_put_in_brackets(bind, address):
    assert launch.host_port(bind, 8000) == address


@pytest.mark.parametrize(
    ("bind", "said"),
    [("10.255.255.1", "not an address of this machine"), ("no such name", "not an address;")],
)
def test_an_address_that_is_none_of_this_machine_is_refused(bind, said):
    with pytest.raises(launch.StartError, match=said):
        launch.check_port(bind, 8000)


def test_on_loopback_it_says_how_a_tablet_gets_in():
    here, more = launch.addresses_said("127.0.0.1", 8000, demo=False)
    assert here == "Kerfbook: http://127.0.0.1:8000/"
    assert "--bind 0.0.0.0" in more
    assert launch.addresses_said("::1", 8000, demo=True) == ["Kerfbook: http://[::1]:8000/"]


def test_beyond_loopback_it_names_what_to_type_on_a_tablet(monkeypatch):
    monkeypatch.delenv("KERFBOOK_HOSTS", raising=False)
    monkeypatch.setattr(launch, "own_addresses", lambda: ["192.168.7.20", "2001:db8::7"])
    assert launch.addresses_said("0.0.0.0", 8000, demo=False) == [
        "Kerfbook: http://127.0.0.1:8000/",
        "On a tablet: http://192.168.7.20:8000/floor/",
    ]
    assert launch.addresses_said("192.168.7.20", 81, demo=False)[1:] == [
        "On a tablet: http://192.168.7.20:81/floor/"
    ]
    monkeypatch.setattr(launch, "own_addresses", list)
    assert "no address in a network" in launch.addresses_said("0.0.0.0", 8000, demo=False)[1]


def test_a_name_that_was_set_is_the_one_said_and_asked(monkeypatch, settings):
    settings.ALLOWED_HOSTS = [".kerfbook.example"]
    monkeypatch.setenv("KERFBOOK_HOSTS", ".kerfbook.example")
    (said,) = launch.addresses_said("0.0.0.0", 8000, demo=False)
    assert "http://kerfbook.example:8000/" in said
    asked = []

    def urlopen(request, timeout):
        asked.append((request.full_url, request.get_header("Host")))
        raise OSError

    monkeypatch.setattr(launch.urllib.request, "urlopen", urlopen)
    launch.Announcement("0.0.0.0", 8000, up=pytest.fail, late=pytest.fail)()
    assert asked == [("http://127.0.0.1:8000/healthz", "kerfbook.example")]


@pytest.mark.parametrize("name", ["start", "bench"])
def test_options_that_are_none_are_one_line_and_status_2(name, capsys):
    parser = load_command_class("dashboards", name).create_parser("manage.py", name)
    with pytest.raises(SystemExit) as stop:
        parser.parse_args(["--no-such"])
    assert stop.value.code == 2
    assert capsys.readouterr().err.count("\n") == 1
