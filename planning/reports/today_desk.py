"""Notes of today about entries and papers rather than about a table's minutes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, tzinfo

from django.utils.translation import gettext as _

from planning.calc.dates import day_time, timed
from planning.calc.said import said
from planning.reports.shapes import Act, Note
from planning.reports.today_data import ArcNow, TableData
from shopfloor.backup.queries import backup_state, is_overdue, last_good
from shopfloor.models import Fitting, Torch
from shopfloor.nests.plate_needed import plates_short
from shopfloor.quality.queries import countersigns_wanted
from shopfloor.runs.amps import ARCS, amps_judged, current_mismatch, since_of
from shopfloor.runs.arcs import to_us
from shopfloor.runs.late_queries import late_entries
from shopfloor.verify.queries import last_faults
from shopfloor.wear.fitted import fitted_now
from shopfloor.wording.counts import count
from telemetry.alarms import SILENT, standing_alarms


def late_notes(zone: tzinfo) -> list[Note]:
    """Sheets with two counts or two starts: somebody has to say which holds."""
    notes = []
    for entry in late_entries():
        action, run = entry.action, entry.run
        nest = run.revision.nest.name if run else "A sheet"
        act = Act(_("Decide between them"), "late", str(action.pk))
        place = run.table.code if run else ""
        if action.kind == "start":
            body = _("{nest}: {shown_name} and {their_name} both started it.").format(
                nest=nest, shown_name=action.person.shown_name, their_name=entry.their_name
            )
            notes.append(Note("soon", _("One sheet started twice"), body, (act,), place))
            continue
        mine = sum(one.mine["good"] for one in entry.lines if one.mine)
        theirs = sum(one.theirs["good"] for one in entry.lines if one.theirs)
        when = timed(action.at.astimezone(zone))
        body = _(
            "{nest}: {shown_name} counted {mine} good at {when}, the books say "
            "{theirs} by {their_name}."
        ).format(
            nest=nest,
            shown_name=action.person.shown_name,
            mine=mine,
            when=when,
            theirs=theirs,
            their_name=entry.their_name,
        )
        notes.append(Note("now", _("Two counts of one sheet"), body, (act,), place))
    return notes


def signature_notes() -> list[Note]:
    """First pieces of people whose checks take a second signature, and have none."""
    notes, said = [], set()
    rows = countersigns_wanted().only(
        "run", "by__first_name", "by__last_name", "by__username", "run__revision__nest__name",
        "run__table__code",
    )  # fmt: skip
    for check in rows:
        if check.run_id in said:
            continue
        said.add(check.run_id)
        body = _(
            "{shown_name} checked the first piece of {nest}; nobody has signed it yet."
        ).format(shown_name=check.by.shown_name, nest=check.run.revision.nest.name)
        act = (Act(_("Open the run"), "run", str(check.run_id)),)
        notes.append(
            Note("soon", _("A second signature is wanted"), body, act, check.run.table.code)
        )
    return notes


def amps_notes(now: datetime, data: Sequence[TableData], start_us: int) -> list[Note]:
    """Torches whose measured current is not that of the set on record. `data` holds every arc that
    began from `start_us` on: only where these are too few is more asked for."""
    own = {each.table.pk: each.arcs for each in data}
    notes = []
    fitted: dict[Torch, list[Fitting]] = defaultdict(list)
    for row in fitted_now():
        if row.torch.table.active:
            fitted[row.torch].append(row)
    for torch, inside in fitted.items():
        seen = _amps_of(own.get(torch.table_id, []), torch, inside, now, start_us)
        off = (
            current_mismatch(torch, now, inside)
            if seen is None
            else amps_judged(torch, inside, seen)
        )
        if off:
            act = (Act(_("Look at the torch"), "wear", str(inside[0].piece_id)),)
            body = f"{torch.table.name}: {off.words}"
            notes.append(Note("now", _("The amps say another set"), body, act, torch.table.code))
    return notes


def _amps_of(
    arcs: Sequence[ArcNow], torch: Torch, inside: Sequence[Fitting], now: datetime, start_us: int
) -> list[float] | None:
    """Amps of the torch's last arcs; None where those at hand are too few to know."""
    since_us, now_us = max(start_us, to_us(since_of(inside, now))), to_us(now)
    seen = [
        (arc.on_us, arc.amps)
        for arc in arcs
        if arc.amps and arc.torch == torch.code and since_us <= arc.on_us < now_us and arc.amps > 0
    ]
    if len(seen) < ARCS and since_us == start_us:
        return None  # there may be older ones
    return [amps for _, amps in sorted(seen, reverse=True)[:ARCS]]


MOST_ALARMS = 5


def alarm_notes(now: datetime) -> list[Note]:
    """What intake wants looked at, but for silent sources: a table's own note says that. Everybody
    reads it: why a source cannot be read stands on its page, for who manages sources."""
    alarms = [one for one in standing_alarms(to_us(now)) if one.code != SILENT]
    notes = []
    for alarm in alarms[:MOST_ALARMS]:
        about = f"{alarm.source}: " if alarm.source else ""
        to_source, to_all = Act(_("Look at the source"), "feed", alarm.source), _ALL_SOURCES
        act = to_source if alarm.source else to_all
        head = alarm.code[:1].upper() + alarm.code[1:]
        notes.append(Note("now", head, f"{about}{alarm.public.rstrip('.')}.", (act,)))
    if len(alarms) > MOST_ALARMS:
        body = _("{alarms} of intake on Sources.").format(
            alarms=count(len(alarms) - MOST_ALARMS, "{n} more alarm", "{n} more alarms")
        )
        notes.append(Note("now", _("More alarms"), body, (_ALL_SOURCES,)))
    return notes


_ALL_SOURCES = Act(said("Look at the sources"), "sources", "")


def plate_notes() -> list[Note]:
    """Plate the lists want and the stock has not."""
    act = (Act(_("Look at the plate"), "plate", ""),)
    return [
        Note(
            "soon",
            _("Plate is short"),
            _(
                "{material} {thickness_text}: {sheets} queued, {free} free. Without: {nests}."
            ).format(
                material=plate.material.code,
                thickness_text=plate.thickness_text,
                sheets=count(plate.listed, "{n} sheet", "{n} sheets"),
                free=plate.free,
                nests=", ".join(plate.nests[:3]),
            ),
            act,
        )
        for plate in plates_short()
    ]


def verify_notes(zone: tzinfo) -> list[Note]:
    """Where the last verification of the records found that something does not agree."""
    last = last_faults()
    if last is None or not last.faults:
        return []
    when = day_time(last.ended_at.astimezone(zone))
    body = _("{faults} found when the records were verified, {when}.").format(
        faults=count(last.faults, "{n} fault", "{n} faults"), when=when
    )
    return [Note("now", _("Records do not agree"), body, (Act(_("See what was found"), "verify"),))]


def backup_notes(now: datetime) -> list[Note]:
    """No good backup is younger than two days."""
    if not is_overdue(last_good(), now):
        return []
    state = backup_state(now)
    act = (Act(_("Look at the backups"), "backups", ""),)
    days = (now - state.good.ended_at).days if state.good else None
    body = (
        _("There is no backup yet.")
        if days is None
        else _("The last backup is {days} days old.").format(days=days)
    )
    if state.failed is not None:
        body = _("{body} The last try failed: {said}").format(body=body, said=state.failed.said)
    return [Note("soon", _("A backup is wanted"), body, act)]
