"""Keeps the data folder to its owner: it holds password hashes, the secret key and the journal.

What the processes make is private from the start (`umask` in the settings); a folder made before,
or copied from elsewhere, is mended when `start`, `web`, `intake` or `collect` begins.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

OTHERS = 0o077
# Everything the program keeps there. In a folder with anything else only these are touched: it
# may be a home folder, given by mistake.
OURS = ("kerfbook.sqlite3*", "secret.key", "*.lock", "beat*", "journal", "files", "logs",
        "broker", "once", "static", "ports", "collect", "uploads", "example", "verify*",
        "backup*", "bench*", "sources")  # fmt: skip


def private_files() -> None:
    """What this process makes from now on is its owner's alone."""
    os.umask(OTHERS)


def protect(folder: Path) -> list[str]:
    """Takes others' rights from the folder and all in it. Returns what a person should know:
    that it was open, or that it cannot be closed. Never fails."""
    ours = sorted({path for name in OURS for path in folder.glob(name)})
    if _alone(folder, ours):
        ours.insert(0, folder)
        said = []
    else:
        said = [
            f"{folder}: holds other files too, so others' rights to the folder itself stay; "
            "a data folder of its own is safer"
        ]
    opened, failed = 0, 0
    for path in _below(folder, ours):
        mode = _mode(path)
        if mode is None or not mode & OTHERS:
            continue
        _close(path, mode)
        after = _mode(path)
        opened += after is not None and not after & OTHERS
        failed += after is not None and bool(after & OTHERS)
    if failed:
        said.append(
            f"{folder}: others may read it, and this file system or its owner does not let that be "
            "changed; passwords and the journal lie there"
        )
    elif opened:
        said.append(f"{folder}: others could read it; now its owner alone can")
    return said


def _alone(folder: Path, ours: list[Path]) -> bool:
    try:
        names = {path.name for path in folder.iterdir()} - {path.name for path in ours}
        sticky = bool(folder.stat().st_mode & stat.S_ISVTX)
    except OSError:
        return False
    return not sticky and all(name.startswith(".secret") for name in names)


def _below(root: Path, paths: list[Path]) -> list[Path]:
    """The paths and all under them, links left out."""
    found = [path for path in paths if not path.is_symlink()]
    for path in list(found):
        if path.is_dir() and path != root:
            for at, folders, files in os.walk(path):
                found += [Path(at, name) for name in (*folders, *files)]
    return [path for path in found if not path.is_symlink()]


def _mode(path: Path) -> int | None:
    try:
        return stat.S_IMODE(path.lstat().st_mode)
    except OSError:
        return None  # gone meanwhile


def _close(path: Path, mode: int) -> None:
    try:
        path.chmod(mode & ~OTHERS)
    except OSError:
        return
