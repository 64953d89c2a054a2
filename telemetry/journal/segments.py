"""The files of a journal: `0000000001.journal`, ... each opens with a line naming the format."""

from __future__ import annotations

from pathlib import Path

HEAD = b"KERFBOOK JOURNAL 1\n"
SUFFIX = ".journal"


def segment_path(folder: Path, number: int) -> Path:
    return folder / f"{number:010d}{SUFFIX}"


def segment_numbers(folder: Path) -> list[int]:
    """Numbers of the segments present, in order. Other files in the folder are passed over."""
    if not folder.is_dir():
        return []
    stems = (path.stem for path in folder.glob(f"*{SUFFIX}"))
    return sorted(int(stem) for stem in stems if stem.isdigit())
