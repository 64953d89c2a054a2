"""The embedded broker against writers in other processes and a reader at once, where kombu's own
files are now and then read half written (3 of 900 when it was tried)."""

from __future__ import annotations

import os
import time
from multiprocessing import get_context
from queue import Empty

import pytest
from kombu import Connection

from shopfloor import celery  # names the transport, in a child process too

assert celery.app

WRITERS = 3
EACH = 300


def options(folder):
    names = ("data_folder_in", "data_folder_out", "control_folder")
    return {name: str(folder) for name in names}


@pytest.fixture
def channel(tmp_path):
    (tmp_path / "queue").mkdir()
    with Connection("files://", transport_options=options(tmp_path / "queue")) as connection:
        yield connection.channel()


def test_a_message_comes_back_once_and_leaves_no_file(channel, tmp_path):
    channel._put("work", {"row": 7})
    assert channel._get("work") == {"row": 7}
    with pytest.raises(Empty):
        channel._get("work")
    assert os.listdir(tmp_path / "queue") == []


def test_another_queue_s_message_is_left(channel):
    channel._put("other", {"row": 1})
    with pytest.raises(Empty):
        channel._get("work")
    assert channel._get("other") == {"row": 1}


def writes(folder, writer):
    with Connection("files://", transport_options=options(folder)) as connection:
        channel = connection.channel()
        for row in range(EACH):
            channel._put("work", {"writer": writer, "row": row, "filling": "x" * 20_000})


def test_a_reader_beside_writers_never_sees_half_a_message(channel, tmp_path):
    processes = [
        get_context("spawn").Process(target=writes, args=(tmp_path / "queue", n))
        for n in range(WRITERS)
    ]
    for process in processes:
        process.start()
    seen = []
    until = time.monotonic() + 60
    while len(seen) < WRITERS * EACH and time.monotonic() < until:
        try:
            message = channel._get("work")  # half a message would raise here
        except Empty:
            continue
        seen.append((message["writer"], message["row"]))
    for process in processes:
        process.join()
    assert sorted(seen) == [(writer, row) for writer in range(WRITERS) for row in range(EACH)]
