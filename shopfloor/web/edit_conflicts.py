"""Two people at one record: who saves over a newer version is told and shown it first.

A page that changes a record carries the record's version as `seen`. Saved over a newer one, nothing
is written: fields the person left alone take what stands there now, those they changed stay as they
typed them, and each difference is said. Sent again, what is then on the page is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.db import models, transaction
from django.http import HttpRequest, QueryDict
from django.utils.translation import gettext as _

from shopfloor.audit.row_versions import NewerVersion, changed_since
from shopfloor.web.forms import attempt
from shopfloor.wording.clock import when
from shopfloor.wording.numbers_in import row_number


@dataclass(frozen=True, slots=True)
class Difference:
    """One field of a form: as the page showed it, as it stands now, and both in words."""

    name: str
    was: Any
    stands: Any
    was_said: str
    stands_said: str


def saved_unless_changed(
    request: HttpRequest, form: forms.Form, row: models.Model, write: Callable[[], Any]
) -> bool:
    """Runs a write of a form's record unless somebody changed it since the page was opened."""
    with transaction.atomic():
        type(row)._default_manager.select_for_update().get(pk=row.pk)
        since = newer(request, row)
        if since is not None and _differs(form, row, since):
            return False
        return attempt(form, write)


def newer(request: HttpRequest, row: models.Model) -> NewerVersion | None:
    """What was changed since the page that is sent was opened; None where it does not say when."""
    seen = row_number(request.POST.get("seen", ""))
    return None if seen is None else changed_since(row, seen)


def _differs(form: forms.Form, row: models.Model, since: NewerVersion) -> bool:
    fields = {name: form.fields.get(name) for name in since.changes}
    differences = [
        Difference(
            name,
            _typed(row, name, fields[name], was),
            _typed(row, name, fields[name], now),
            _said(row, name, was),
            _said(row, name, now),
        )
        for name, (was, now) in since.changes.items()
        if fields[name] is not None
    ]
    return settled(
        form, _("{who} changed this {at}").format(who=since.who, at=when(since.at)), differences
    )


def settled(form: forms.Form, who: str, differences: Iterable[Difference]) -> bool:
    """Whether what is sent would undo a newer value. Says each on the form, and takes over the
    ones the person did not touch."""
    told: list[str] = []
    data = QueryDict(mutable=True)
    if isinstance(form.data, QueryDict):
        for name, values in form.data.lists():
            data.setlist(name, values)
    else:
        data.update(form.data)
    for one in differences:
        field = form.fields[one.name]
        mine = _plain(form.cleaned_data.get(one.name))
        if field.disabled or mine == one.stands:
            continue
        label = field.label or one.name.replace("_", " ").capitalize()
        line = _("{label}: it was {was_said} and is now {stands_said}").format(
            label=label, was_said=one.was_said, stands_said=one.stands_said
        )
        if mine == one.was:
            _put(data, form.add_prefix(one.name), field.prepare_value(one.stands))
            told.append(_("{line}, as below.").format(line=line))
        else:
            told.append(_("{line}; yours is still below and would replace it.").format(line=line))
    if not told:
        return False
    form.data = data
    head = _("{who}, after you opened it. Nothing of yours is kept yet.").format(who=who)
    for line in (head, *told, _("Send it again to keep what is shown below.")):
        form.add_error(None, line)
    return True


def _typed(row: models.Model, name: str, field: forms.Field | None, value: Any) -> Any:
    """A stored value as the form's own field has it: the row's key, or its name where one types."""
    if isinstance(field, forms.ModelChoiceField):
        return value
    if row._meta.get_field(name).is_relation:
        return _said(row, name, value)
    return field.to_python(value) if isinstance(field, forms.CharField) else value


def _plain(value: Any) -> Any:
    return value.pk if isinstance(value, models.Model) else value


def _said(row: models.Model, name: str, value: Any) -> str:
    if value is None or value == "":
        return "none"
    related = row._meta.get_field(name).related_model
    if isinstance(related, type) and issubclass(related, models.Model):
        return str(related._default_manager.filter(pk=value).first() or value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return when(value) if hasattr(value, "hour") else f"{value}"


def _put(data: QueryDict, name: str, value: Any) -> None:
    if isinstance(value, list | tuple):
        data.setlist(name, [str(one) for one in value])
    else:
        data[name] = "" if value is None else value
