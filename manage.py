#!/usr/bin/env python3
"""Kerfbook's one entry point; every command is `manage.py NAME`."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import NoReturn

OURS = {"shopfloor", "telemetry", "planning", "dashboards"}


def main() -> None:
    if sys.version_info < (3, 11):  # noqa: UP036 - said in words, not as a traceback
        _end(f"Kerfbook needs Python 3.11 or newer; {sys.executable} is {sys.version.split()[0]}")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")
    try:
        from django.core.management import execute_from_command_line

        execute_from_command_line(sys.argv)
    except ModuleNotFoundError as missing:
        name = (missing.name or "").partition(".")[0]
        if name in OURS:
            raise
        _end(f"{sys.executable} has no package {name!r}; {_instead()}")
    except KeyboardInterrupt:  # before a command could say what it leaves behind
        sys.stderr.write("stopped\n")
        sys.exit(130)
    except RuntimeError as problem:
        # Importing anything of ours reads the settings, so the class cannot be named before.
        env = sys.modules.get("shopfloor.env")
        if env is None or not isinstance(problem, env.SettingError):
            raise
        _end(str(problem))


def _instead() -> str:
    python = Path(__file__).resolve().parent / ".venv/bin/python"
    if python.exists() and Path(sys.prefix).resolve() != python.parent.parent.resolve():
        return f"use {python} {' '.join(sys.argv)}"
    return "set it up with the command under 'Run it' in README.md"


def _end(line: str) -> NoReturn:
    sys.stderr.write(f"{line}\n")
    sys.exit(2)


if __name__ == "__main__":
    main()
