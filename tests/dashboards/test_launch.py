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


@pytest.mark.parametrize("name", ["start", "bench"])
def test_options_that_are_none_are_one_line_and_status_2(name, capsys):
    parser = load_command_class("dashboards", name).create_parser("manage.py", name)
    with pytest.raises(SystemExit) as stop:
        parser.parse_args(["--no-such"])
    assert stop.value.code == 2
    assert capsys.readouterr().err.count("\n") == 1
