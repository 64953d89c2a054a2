"""Where intake keeps its files, all under the data folder."""

from __future__ import annotations

import re
from pathlib import Path

from django.conf import settings

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}\Z")


def journals_folder() -> Path:
    return Path(settings.DATA_DIR) / "journal"


def feed_folder(feed_name: str) -> Path:
    return journals_folder() / feed_name


def journal_folder(feed_name: str, lane: str) -> Path:
    return feed_folder(feed_name) / lane


def inbox_folder(feed_name: str) -> Path:
    """What collectors delivered, a folder for each, until the feed's own journal has it."""
    return journals_folder() / feed_name / "push"


def lock_path(feed_name: str, lane: str) -> Path:
    return journals_folder() / feed_name / f"{lane}.lock"
