"""Child processes forked from one that has the program imported already. To start Python and
import the program anew takes seconds of processor time, and each browser test needs a shop."""

from __future__ import annotations

import multiprocessing
import os
import tempfile
from collections.abc import Callable
from multiprocessing.process import BaseProcess
from typing import Any
from unittest import mock

context = multiprocessing.get_context("forkserver")
context.set_forkserver_preload(["tests.imported"])


def started(target: Callable[..., None], *args: Any) -> BaseProcess:
    """The child at work. Its settings were read for a folder that is gone: `target` sets them."""
    process = context.Process(target=target, args=args, daemon=True)
    with tempfile.TemporaryDirectory() as nowhere, mock.patch.dict(os.environ):
        os.environ["KERFBOOK_DATA"] = nowhere
        os.environ.pop("DATABASE_URL", None)
        process.start()  # the first one waits until the program is imported
    return process
