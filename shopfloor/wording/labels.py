"""What a form's field is called: a text, or one that is translated for each reader."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from django_stubs_ext import StrPromise

    Label = str | StrPromise
else:
    Label = str
