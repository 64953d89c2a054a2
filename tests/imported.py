"""Imported by the process that `tests.forked` forks from: the whole program, nothing connected."""

from __future__ import annotations

import os
from importlib import import_module

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")
django.setup()
import_module("shopfloor.urls")  # the pages, and with them all they need
