"""What is not known is a word, never 0."""

from __future__ import annotations

from django.utils.safestring import mark_safe

UNKNOWN = mark_safe('<span class="unknown">unknown</span>')
