"""The same check (`edit_conflicts.py`) for forms whose fields are not the record's own:
money in the shop's currency, lengths in inches, parts of a record. Such a page carries what it
showed.

What comes back is from a browser and may be anything: where it cannot be read nothing is known of
what was shown, and the form is taken as one that says nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.http import HttpRequest
from django.utils.translation import gettext as _

from shopfloor.audit.row_versions import changed_since, version_of
from shopfloor.web.edit_conflicts import Difference, settled
from shopfloor.web.forms import attempt
from shopfloor.wording.clock import when

FIELD = "shown"
VERSION = ""  # no field has this name
Known = Mapping[str, Any]


def shown(form: forms.Form, row: models.Model | None = None, known: Known | None = None) -> str:
    """For the page's hidden field: what each field of the form shows of the record, as text, and
    the record's version."""
    known = form.initial if known is None else known
    texts: dict[str, Any] = {
        name: _text(field, known[name]) for name, field in form.fields.items() if name in known
    }
    if row is not None:
        texts[VERSION] = version_of(type(row), row.pk)
    return json.dumps(texts)


def kept_as_shown(
    request: HttpRequest,
    form: forms.Form,
    row: models.Model | None,
    known: Callable[[], Known],
    write: Callable[[], Any],
) -> bool:
    """Runs a write unless the record shows something else by now than it did on the page that is
    sent. `known` reads the record as the form shows it; it is asked while the row is held. `row`
    None: there was none, and nothing is held."""
    with transaction.atomic():
        if row is not None:
            type(row)._default_manager.select_for_update().get(pk=row.pk)
        before = _before(request)
        if before is not None and _differs(form, row, before, known()):
            return False
        return attempt(form, write)


def _before(request: HttpRequest) -> dict[str, Any] | None:
    try:
        found = json.loads(request.POST.get(FIELD, ""))
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def _differs(
    form: forms.Form, row: models.Model | None, before: dict[str, Any], known: Known
) -> bool:
    differences = []
    for name, field in form.fields.items():
        if name not in known or isinstance(field, forms.FileField):
            continue
        was, stands = before.get(name), _text(field, known[name])
        if was != stands:
            differences.append(
                Difference(
                    name, _typed(field, was), _typed(field, stands), _said(field, was),
                    _said(field, stands),
                )
            )  # fmt: skip
    return bool(differences) and settled(form, _who(row, before.get(VERSION)), differences)


def _who(row: models.Model | None, version: Any) -> str:
    since = changed_since(row, version) if row is not None and type(version) is int else None
    return (
        _("{who} changed this {at}").format(who=since.who, at=when(since.at))
        if since
        else _("Somebody changed this")
    )


def _text(field: forms.Field, value: Any) -> Any:
    """A value as the form's page has it: text, or a list of texts where several are chosen."""
    value = field.prepare_value(value)
    if isinstance(value, list | tuple | set):
        return sorted(str(one) for one in value)
    return "" if value is None else str(value)


def _typed(field: forms.Field, text: Any) -> Any:
    """What the form would make of the text, to compare with what was sent."""
    if isinstance(field, forms.BooleanField):
        return text == "True"
    try:
        found = field.clean(text if isinstance(text, str | list) else "")
    except ValidationError:
        return text
    return found.pk if isinstance(found, models.Model) else found


def _said(field: forms.Field, text: Any) -> str:
    if isinstance(field, forms.BooleanField):
        return "yes" if text == "True" else "no"
    chosen = dict(getattr(field, "choices", []) or {})
    texts = text if isinstance(text, list) else [text] if isinstance(text, str) and text else []
    words = ", ".join(str(chosen.get(one, one)) for one in texts)
    return _("another text") if len(words) > 200 else words or "none"
