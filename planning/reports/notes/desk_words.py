"""Sentences of the notes of entries, papers, stock, jobs and wear parts."""

from __future__ import annotations

from django.utils.translation import gettext as _

from planning.calc.numbers import filled
from planning.calc.said import restored, said, said_of_many
from planning.reports.notes.saying import Row, Said
from planning.reports.shapes import Act
from shopfloor.wording.counts import count
from shopfloor.wording.states import words


def started_twice(row: Row) -> Said:
    body = _("{nest}: {shown_name} and {their_name} both started it.").format(
        nest=_nest(row), shown_name=row.values["by"], their_name=row.values["their"]
    )
    return _("One sheet started twice"), body, (_decide(row),)


def counted_twice(row: Row) -> Said:
    body = _(
        "{nest}: {shown_name} counted {mine} good at {when}, the books say "
        "{theirs} by {their_name}."
    ).format(
        nest=_nest(row),
        shown_name=row.values["by"],
        mine=row.values["good"],
        when=row.clock(row.values["at_us"]),
        theirs=row.values["their_good"],
        their_name=row.values["their"],
    )
    return _("Two counts of one sheet"), body, (_decide(row),)


def _nest(row: Row) -> str:
    return row.values["nest"] or _("A sheet")


def _decide(row: Row) -> Act:
    return Act(_("Decide between them"), "late", row.values["entry"])


def signature(row: Row) -> Said:
    body = _("{shown_name} checked the first piece of {nest}; nobody has signed it yet.").format(
        shown_name=row.values["by"], nest=row.values["nest"]
    )
    return _("A second signature is wanted"), body, (Act(_("Open the run"), "run", row.subject),)


def amps(row: Row) -> Said:
    like = row.values["like"]
    body = filled(
        _(
            "{table}: The last {arcs} arcs burnt at about {amps:.0f} A, as {like} does; "
            "{fitted} is on record."
        )
        if like
        else _("{table}: The last {arcs} arcs burnt at about {amps:.0f} A; {fitted} is on record."),
        table=row.table,
        arcs=row.values["arcs"],
        amps=row.values["current_a"],
        like=like or "",
        fitted=row.values["fitted"],
    )
    act = Act(_("Look at the torch"), "wear", str(row.values["piece_id"]))
    return _("The amps say another set"), body, (act,)


def alarm(row: Row) -> Said:
    code, source = row.values["alarm"], row.values["source"]
    body = f"{source}: " if source else ""
    body += f"{row.values['message'].rstrip('.')}."
    to_source = Act(_("Look at the source"), "feed", source)
    return code[:1].upper() + code[1:], body, (to_source if source else _all_sources(),)


def more_alarms(more: int, row: Row) -> Said:
    body = _("{alarms} of intake on Sources.").format(
        alarms=count(more, "{n} more alarm", "{n} more alarms")
    )
    return _("More alarms"), body, (_all_sources(),)


def _all_sources() -> Act:
    return Act(_("Look at the sources"), "sources")


def plate(row: Row) -> Said:
    body = _("{material} {thickness_text}: {sheets} queued, {free} free. Without: {nests}.").format(
        material=row.values["material"],
        thickness_text=row.values["thickness"],
        sheets=count(row.values["listed_sheets"], "{n} sheet", "{n} sheets"),
        free=row.values["free_sheets"],
        nests=", ".join(row.values["nests"]),
    )
    return _("Plate is short"), body, (Act(_("Look at the plate"), "plate"),)


def records(row: Row) -> Said:
    body = _("{faults} found when the records were verified, {when}.").format(
        faults=count(row.values["faults"], "{n} fault", "{n} faults"),
        when=row.moment(row.values["at_us"]),
    )
    return _("Records do not agree"), body, (Act(_("See what was found"), "verify"),)


def backup(row: Row) -> Said:
    days, failed = row.values["days"], row.values["failed"]
    body = (
        _("There is no backup yet.")
        if days is None
        else _("The last backup is {days} days old.").format(days=days)
    )
    if failed is not None:
        body = _("{body} The last try failed: {said}").format(body=body, said=failed)
    return _("A backup is wanted"), body, (Act(_("Look at the backups"), "backups"),)


def job_late(row: Row) -> Said:
    due_us = row.values["due_us"]
    body = _("{job} for {customer} was due {due} and owes {owes}.").format(
        job=row.values["job"],
        customer=row.values["customer"],
        due=row.moment(due_us) if due_us is not None else "",
        owes=count(row.values["owes_parts"], "{n} part", "{n} parts"),
    )
    return _("A job is late"), body, (Act(_("Open the job"), "job", row.subject),)


def more_jobs_late(more: int, row: Row) -> Said:
    acts = (Act(_("Show open jobs"), "jobs"),)
    if more == 1:
        return _("One more job is late"), _("It is past its due date and owes parts."), acts
    body = filled(_("{more:,} more jobs are past their due date and owe parts."), more=more)
    return _("More jobs are late"), body, acts


def piece_due(row: Row) -> Said:
    body = said("The {kind} {piece} on {table} is due: {basis}.", **_piece(row), basis=_basis(row))
    return _("A piece is due"), body, (_look(row),)


def piece_soon(row: Row) -> Said:
    left, basis = row.values["left_starts"], _basis(row)
    body = (
        said("The {kind} {piece} on {table} is due soon ({basis}).", **_piece(row), basis=basis)
        if left is None
        else said_of_many(
            "The {kind} {piece} on {table} has about {number:,} start left ({basis}).",
            "The {kind} {piece} on {table} has about {number:,} starts left ({basis}).",
            left,
            **_piece(row),
            basis=basis,
        )
    )
    return _("A piece about due"), f"{body}{_by_the_list(row)}", (_look(row),)


def piece_short(row: Row) -> Said:
    body = filled(
        _(
            "The {kind} {piece} on {table} has about {left:,} starts left; the list wants "
            "{wanted:,} up to {nest}. Have another one ready."
        ),
        **_piece(row),
        left=row.values["left_starts"],
        wanted=row.values["wanted_starts"],
        nest=row.values["nest"],
    )
    return _("A piece will not last"), f"{body}{_by_the_list(row)}", (_look(row),)


def _by_the_list(row: Row) -> str:
    """When that is, as far as the list is planned."""
    at_us = row.values.get("likely_us")
    if at_us is None:
        return ""
    said = _("If the list is cut in its order, that is most likely {moment}.")
    return " " + said.format(moment=row.moment(at_us))


def _piece(row: Row) -> dict[str, str]:
    return {
        "kind": words(row.values["kind"]),
        "piece": row.values["piece"],
        "table": row.table,
    }


def _basis(row: Row) -> str:
    return restored(row.values["basis"])


def _look(row: Row) -> Act:
    return Act(_("Look at the piece"), "wear", str(row.values["piece_id"]))
