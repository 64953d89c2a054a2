"""One arc opened: where it was heard, and which run it is tied to."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext as _

from planning.calc.numbers import written
from planning.reports.figure import Figure, Part, Ref
from shopfloor.models import ArcAssignment
from shopfloor.wording.quantity import Quantity, Unit, seconds, text
from telemetry.models import Arc


def opened(key: str) -> Figure:
    found = Arc.objects.filter(key=key).select_related("feed").first()
    if found is None:
        raise LookupError(_("there is no arc {key!r}").format(key=key))
    value = text(_("still burning"), "measured")
    if found.seconds is not None:
        value = seconds(found.seconds, "measured")
    rule = _("from its arc-on line to its arc-off line")
    return Figure(Ref("arc", key), _("Arc"), value, rule, (*_heard(found), *_tied(key)))


def _heard(arc: Arc) -> Iterator[Part]:
    yield Part(_("Source"), text(arc.feed.name, "measured"), Ref("feed", arc.feed.name))
    yield Part(
        _("Table and torch"),
        text(_("{table}, torch {torch}").format(table=arc.table, torch=arc.torch)),
    )
    yield Part(_("Ended"), text(arc.ended))
    yield Part(_("Pierces"), Quantity(arc.pierces, Unit.COUNT, "measured"))
    for label, value, unit in ((_("Current"), arc.amps, "A"), (_("Voltage"), arc.volts, "V")):
        if value is not None:
            yield Part(label, text(f"{written(value, '.1f')} {unit}", "measured"))


def _tied(key: str) -> Iterator[Part]:
    tie = (
        ArcAssignment.objects.filter(arc_key=key)
        .select_related("segment__run__revision__nest", "by")
        .defer("segment__run__revision__program", "segment__run__plan")
        .first()
    )
    if tie is None or tie.segment is None:
        yield Part(_("Run"), text("none"))
        return
    who = tie.by.shown_name if tie.by else _("matched by time and order")
    run = tie.segment.run
    yield Part(_("Run"), text(run.revision.nest.name), Ref("run", str(run.pk)), (who,))
    if tie.contour_number is not None:
        yield Part(_("Contour"), Quantity(tie.contour_number, Unit.COUNT))
