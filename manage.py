#!/usr/bin/env python3
"""Kerfbook's one entry point; every command is `manage.py NAME`."""

from __future__ import annotations

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except RuntimeError as problem:
        # Importing anything of ours reads the settings, so the class cannot be named before.
        env = sys.modules.get("shopfloor.env")
        if env is None or not isinstance(problem, env.SettingError):
            raise
        sys.stderr.write(f"{problem}\n")
        sys.exit(2)


if __name__ == "__main__":
    main()
