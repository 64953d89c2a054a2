"""Sentences of the notes of one table."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from planning.calc.numbers import filled
from planning.calc.said import restored, said
from planning.reports.notes.saying import MINUTE_US, Row, Said
from planning.reports.shapes import Act
from shopfloor.wording.counts import count


def no_source(row: Row) -> Said:
    body = _("No source is set up for it, so nothing is measured: runs are as entered.")
    return _("{today} has no signal").format(today=row.table), body, ()


def silent(row: Row) -> Said:
    body = _("{today} is unknown since {since}: its source gives no lines.").format(
        today=row.table, since=row.clock(row.values["since_us"])
    )
    return (
        _("A source is silent"),
        body,
        (Act(_("Look at the source"), "feed", row.values["feed"]),),
    )


def arcs(row: Row) -> Said:
    body = filled(
        ngettext(
            "{arcs:,} arc on {table}, {start} to {end}, belongs to no job.",
            "{arcs:,} arcs on {table}, {start} to {end}, belong to no job.",
            row.values["arcs"],
        ),
        arcs=row.values["arcs"],
        table=row.table,
        start=row.clock(row.values["from_us"]),
        end=row.clock(row.values["to_us"]),
    )
    act = Act(_("Say which job"), "assign_arcs", row.values["first_key"])
    return _("Arcs without a job"), body, (act,)


def stop(row: Row) -> Said:
    from_us, to_us = row.values["from_us"], row.values["to_us"]
    body = (
        _("{table} has been stopped {minutes} min from {time}.")
        if to_us is None
        else _("{table} was stopped {minutes} min from {time}.")
    ).format(
        table=row.table,
        minutes=((row.now_us if to_us is None else to_us) - from_us) // MINUTE_US,
        time=row.clock(from_us),
    )
    act = Act(_("Give the reason"), "reason", str(row.values["stoppage"]))
    return _("A stop without a reason"), body, (act,)


def standing(row: Row) -> Said:
    since_us, sheets = row.values["since_us"], row.values["sheets"]
    body = _("{table} has stood {minutes} min, since {time}; no stop is on record. {list}").format(
        table=row.table,
        minutes=(row.now_us - since_us) // MINUTE_US,
        time=row.clock(since_us),
        list=(
            count(sheets, "{n} sheet waits on its list.", "{n} sheets wait on its list.")
            if sheets
            else _("Its run is open.")
        ),
    )
    act = Act(_("Look at its list"), "queue", row.table_code)
    return _("A table stands without a word"), body, (act,)


def will_be_late(row: Row) -> Said:
    jobs = row.values["jobs"]
    body = (
        _("{nest} for {jobs} is planned to end {ends} at the earliest; it is due {due}.")
        if jobs
        else _("{nest} is planned to end {ends} at the earliest; it is due {due}.")
    ).format(
        nest=row.values["nest"],
        jobs=", ".join(jobs),
        ends=row.moment(row.values["ends_us"]),
        due=row.moment(row.values["due_us"]),
    )
    return _("It will be late"), body, (Act(_("Change the order"), "queue", row.table_code),)


def more_will_be_late(more: int, row: Row) -> Said:
    body = filled(
        ngettext(
            "{more:,} more job in {table}'s queue ends after it is due.",
            "{more:,} more jobs in {table}'s queue end after they are due.",
            more,
        ),
        more=more,
        table=row.table,
    )
    return _("More will be late"), body, (Act(_("Change the order"), "queue", row.table_code),)


def unplanned(row: Row) -> Said:
    body = said(
        "{nest} waits on {table} and has no plan: {why}.",
        nest=row.values["nest"],
        table=row.table,
        why=restored(row.values["why"]),
    )
    act = Act(_("Open the nest"), "nest", str(row.values["nest_id"]))
    return _("A nest without a plan"), body, (act,)


def overtime(row: Row) -> Said:
    body = filled(
        _(
            "{nest} on {table} will more likely not be done by {end}, when the shift ends "
            "({chance:.0f} chances in 100 that it is)."
        ),
        nest=row.values["nest"],
        table=row.table,
        end=row.clock(row.values["end_us"]),
        chance=row.values["chance"] * 100,
    )
    act = Act(_("Change the order"), "queue", row.table_code)
    return _("More than the shift holds"), body, (act,)


def set_twice(row: Row) -> Said:
    body = _(
        "{table}'s list changes to {between} and back to {set} for {nest}. Moved up to the other "
        "sheets of its set it saves two changes."
    ).format(
        table=row.table,
        between=row.values["between"],
        set=row.values["set"],
        nest=row.values["nest"],
    )
    act = Act(_("Change the order"), "queue", row.table_code)
    return _("The list goes back to a set"), body, (act,)


def drift(row: Row) -> Said:
    before, now = row.values["before"], row.values["now"]
    numbers = {
        "table": row.table,
        "before": before,
        "now": now,
        "before_min": before / 60,
        "now_min": now / 60,
    }
    name, body, look = {
        "burning": (
            _("Cutting slower") if now > before else _("Cutting quicker"),
            _("{table} takes {now:.2f} of the planned cutting, {before:.2f} before."),
            _("Worn parts, air pressure, another speed at the table or a changed mix of work?"),
        ),
        "loading": (
            _("Loading takes longer") if now > before else _("Loading goes quicker"),
            _("{table} is loaded in {now_min:.1f} min, {before_min:.1f} before."),
            _("A new hand, the crane, another kind of sheet?"),
        ),
        "stops": (
            _("More stoppages") if now > before else _("Fewer stoppages"),
            _("{table} stops {now:.1f} times an hour of cutting, {before:.1f} before."),
            _("Its stops by reason tell which."),
        ),
        "changes": (
            _("Set changes take longer") if now > before else _("Set changes go quicker"),
            _("{table}'s set changes take {now_min:.0f} min, {before_min:.0f} before."),
            _("A new hand, or parts that are not at the table?"),
        ),
    }[row.values["figure"]]
    made_from = _("Since the shift that ended {since}; held against {shifts} before it.").format(
        since=row.moment(row.values["since_us"]),
        shifts=count(row.values["shifts_before"], "{n} shift", "{n} shifts"),
    )
    body = filled(body, **numbers)
    return name, f"{body} {made_from} {look}", (Act(_("Open its measures"), "measures"),)


def down(row: Row) -> Said:
    why = row.values["why"]
    body = (
        _("{table} cannot cut until {until}: {why}.")
        if why
        else _("{table} cannot cut until {until}.")
    ).format(table=row.table, until=row.moment(row.values["until_us"]), why=why)
    act = Act(_("Open the calendar"), "calendar")
    return _("Upkeep") if row.values["planned"] else _("A table is down"), body, (act,)
