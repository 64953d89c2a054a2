"""The bytes of a request that is no form."""

from __future__ import annotations

from django.core.exceptions import BadRequest
from django.http import HttpRequest
from django.http.request import RawPostDataException
from django.utils.translation import gettext as _


def raw_body(request: HttpRequest) -> bytes:
    """Raises BadRequest for a form: its bytes were read as fields."""
    try:
        return request.body
    except RawPostDataException:
        raise BadRequest(_("This address takes JSON or bytes, and no form.")) from None
