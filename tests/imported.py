"""Imported by the process that `tests.forked` forks from: the whole program, nothing connected."""

from __future__ import annotations

import os

import django
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")
django.setup()
get_resolver().url_patterns  # noqa: B018 - imports the pages, and with them all they need
