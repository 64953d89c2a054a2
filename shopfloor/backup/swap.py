"""Putting a restored shop in the place of the one in use, so that a kill at any instant leaves
either, or a note by which the next `restore`, `upgrade` or `start` finishes the work. All other
commands refuse meanwhile (`telemetry.database.refuse_half_restored`)."""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from shopfloor.backup import target
from shopfloor.backup.archive import KEY, ROOTS
from telemetry.database import RESTORED
from telemetry.journal.segments import sync_folder

STAGING, _NOTE = RESTORED.split("/")


@dataclass(frozen=True, slots=True)
class Plan:
    """`kept` is the folder that the old files go to, `schema` that of the old tables on
    PostgreSQL; without `keep` both are empty and go again."""

    kept: str
    schema: str
    keep: bool


def plan_of(at: datetime, *, keep: bool) -> Plan:
    return Plan(f"replaced-{at:%Y%m%dT%H%M%SZ}", f"replaced_{at:%Y%m%dt%H%M%Sz}", keep)


def staging_of(folder: Path) -> Path:
    return folder / STAGING


def begin(folder: Path) -> Path:
    """An empty place for the files of a backup. What an earlier try left there goes."""
    staging = staging_of(folder)
    shutil.rmtree(staging, ignore_errors=True)
    for root in ROOTS:
        (staging / root).mkdir(parents=True)
    return staging


def drop(folder: Path) -> None:
    shutil.rmtree(staging_of(folder), ignore_errors=True)


def swap(folder: Path, plan: Plan) -> None:
    """All of it is on disk: from here on it is finished, if need be by `finish`."""
    note = staging_of(folder) / _NOTE
    draft = note.with_suffix(".part")
    with draft.open("w", encoding="ascii") as out:
        json.dump({"kept": plan.kept, "schema": plan.schema, "keep": plan.keep}, out)
        out.flush()
        os.fsync(out.fileno())
    draft.replace(note)
    sync_folder(note.parent)
    finish(folder)


def unfinished(folder: Path) -> bool:
    return (staging_of(folder) / _NOTE).is_file()


def finish(folder: Path) -> None:
    """Does what `swap` began, as often as it takes; nothing where there is nothing to do."""
    if not unfinished(folder):
        return
    staging = staging_of(folder)
    plan = Plan(**json.loads((staging / _NOTE).read_text(encoding="ascii")))
    kept = folder / plan.kept
    kept.mkdir(mode=0o700, exist_ok=True)
    if target.is_sqlite():
        path = target.sqlite_path()
        if target.beside().exists():
            for suffix in ("-wal", "-shm"):
                _aside(Path(f"{path}{suffix}"), kept)
        _put(target.beside(), path, kept if path.parent == folder else path.parent)
    else:
        target.swap_schema(plan.schema, keep=plan.keep)
    for name in (*ROOTS, KEY):
        _put(staging / name, folder / name, kept)
    sync_folder(folder)
    if not plan.keep:
        shutil.rmtree(kept)
    shutil.rmtree(staging)


def _put(fresh: Path, place: Path, kept: Path) -> None:
    if not fresh.exists():
        return
    _aside(place, kept)
    os.replace(fresh, place)


def _aside(place: Path, kept: Path) -> None:
    if not os.path.lexists(place):
        return
    name = kept / place.name
    number = 1
    while os.path.lexists(name):
        name, number = kept / f"{place.name}.{number}", number + 1
    os.replace(place, name)
