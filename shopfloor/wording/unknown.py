"""What is not known is a word, never 0."""

from __future__ import annotations

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _


def unknown() -> SafeString:
    return format_html('<span class="unknown">{}</span>', _("unknown"))
