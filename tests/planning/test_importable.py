"""Modules can be the first of their package that a process imports: which one is differs from
command to command."""

from __future__ import annotations

import subprocess
import sys

import pytest

SET_UP = """
import os, pkgutil, sys
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")
import django
django.setup()
"""
DEMO = "import dashboards.demo\nprint(1, 'tried')"
ALL = """
import planning.services
PURGED = ("planning.services", "planning.reports")
names = [one.name for one in pkgutil.iter_modules(planning.services.__path__, PURGED[0] + ".")]
for name in names:
    for known in [one for one in sys.modules if one.startswith(PURGED)]:
        del sys.modules[known]
    try:
        __import__(name)
    except ImportError as problem:
        print(name, problem)
print(len(names), "tried")
"""


def imported(code: str) -> int:
    done = subprocess.run(
        [sys.executable, "-c", SET_UP + code], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    *failed, tried = done.stdout.splitlines()
    assert failed == []
    return int(tried.split()[0])


def test_start_can_make_its_example_shop():
    assert imported(DEMO) == 1


@pytest.mark.long
def test_every_service_is_imported_first():
    assert imported(ALL) > 30
