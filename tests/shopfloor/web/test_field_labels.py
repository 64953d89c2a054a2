"""Every field of a form is called something that can be translated."""

from __future__ import annotations

from collections.abc import Iterator

from django import forms
from django.forms.utils import pretty_name
from django.urls import get_resolver
from django.utils.functional import Promise

from shopfloor.web.field_labels import NAMES


def _forms(of: type[forms.BaseForm]) -> Iterator[type[forms.BaseForm]]:
    for form in of.__subclasses__():
        yield form
        yield from _forms(form)


def test_a_field_without_a_label_of_its_own_has_a_name_that_is_marked():
    assert get_resolver().url_patterns  # all pages' forms are read
    found = {}
    for form in _forms(forms.BaseForm):
        if form.__module__.startswith("shopfloor"):
            for name, field in form.base_fields.items():
                label = pretty_name(name) if field.label is None else field.label
                hidden = field.widget.is_hidden
                if not hidden and not isinstance(label, Promise) and label not in NAMES:
                    found.setdefault(label, f"{form.__module__}.{form.__name__}.{name}")
    assert not found
