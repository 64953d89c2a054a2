"""Help for those who plan, own and look after the program."""

from __future__ import annotations

from django.utils.functional import lazy
from django.utils.translation import gettext_noop as N_

from shopfloor.chart.duties import DUTIES
from shopfloor.web.help_shape import Help
from shopfloor.web.help_words import EVIDENCE, HANDS, SHOP_WORDS


def duty_meanings() -> str:
    return "; ".join(f"{duty.label}: {duty.meaning}" for duty in DUTIES)


PLANNER = Help(
    "planner",
    N_("Jobs become nests, nests become places in a table’s queue."),
    (
        (
            N_("Find"),
            "find",
            N_("a paper scanned or a name typed opens its page; part of a name lists"),
        ),
        (N_("Jobs"), "jobs", N_("what is owed; bring them in as CSV or XLSX, print the traveler")),
        (N_("Nests"), "nests", N_("cut programs, their plan, which parts are for which line")),
        (N_("Queue"), "queue", N_("what each table burns next, each with its sheet")),
        (N_("Cut chart"), "chart", N_("the shop’s own: speed, heights, kerf by set and thickness")),
        (N_("Trials"), "trials", N_("cuts tried on scrap, and which became a row")),
        (N_("Tables"), "tables", N_("how each moves and reads a program")),
        (N_("Stock"), "stock", N_("receive plate; a heat opens every part cut from it")),
        (N_("Plate needed"), "low_stock", N_("what the queue needs against what is free")),
        (N_("Remnants"), "remnants", N_("what could still be cut from")),
        (N_("Balance"), "balance", N_("duty by duty: minutes, bench, cost")),
        (N_("Wear"), "wear", N_("each torch’s pieces and the drawer")),
    ),
    (
        (
            N_("Sizes as you write them"),
            N_(
                "16 ga, 1/4 in, 6 mm: kept as typed, with the millimetres "
                ""
                "beside it. A gauge needs its metal."
            ),
        ),
        (
            N_("A sheet is promised once"),
            N_(
                "A place in a queue keeps its sheet; another nest cannot "
                "have "
                "it until that place is removed."
            ),
        ),
        (
            N_("A changed program"),
            N_(
                "is a new revision. Where the torch’s path changed, setup "
                "sheets "
                "printed before are void and say so when scanned; a changed comment voids nothing."
            ),
        ),
        (
            N_("Plans"),
            N_(
                "come from program, chart and table. “Refused” says why "
                "there is none. Where one "
                "of the three changes they are made again."
            ),
        ),
        (
            N_("Drawings of a job"),
            N_(
                "are brought together, as files or a ZIP: names like bracket_10mm_S355_x20.dxf, or "
                "a list among them, say how many of what. Correct the table, keep it, quote it."
            ),
        ),
        (
            N_("A long file"),
            N_(
                "is taken in beside the pages. It shows how far it is and can be stopped; "
                "nothing half is kept."
            ),
        ),
    ),
    (
        *SHOP_WORDS,
        *EVIDENCE,
        (N_("duty"), lazy(duty_meanings, str)()),
    ),
    (
        N_(
            "Example charts are invented: example values, not for "
            "cutting. Yours come from the maker’s "
            "manual and your own trials."
        ),
        HANDS[2],
    ),
)

OWNER = Help(
    "owner",
    N_("Cost says where quote, plan and actual part, and why; every figure opens to its runs."),
    (
        (
            N_("Cost"),
            "cost",
            N_("jobs, cost per metre or foot, where the hours go; close and print a month"),
        ),
        (N_("Find"), "find", N_("a job or part by any piece of its name, a heat by its number")),
        (N_("Jobs"), "jobs", N_("quotes, what is posted on each line")),
        (N_("Rates"), "rates", N_("machine, operator, bench, gas, power, each from a day on")),
        (N_("Remnants"), "remnants", N_("what is left outside and what it is worth")),
        (N_("Wear"), "wear", N_("what a start of each piece costs")),
        (N_("Today"), "today", N_("how the day is going")),
        (N_("At a glance"), "glance", N_("a week or a month by table and shift, jobs due")),
    ),
    (
        (
            N_("A closed month"),
            N_(
                "never changes. A later fact is posted into the open month "
                "and names "
                "the one it belongs to, with who and why."
            ),
        ),
        (
            N_("Who sees what"),
            N_(
                "Cost, wage rates, margin and times of single persons are "
                "separate "
                "rights. The screens beside tables and papers carry no money."
            ),
        ),
        (N_("A written-off remnant"), N_("costs the shop, never a job.")),
        (
            N_("Coverage"),
            N_("Beside each total: how much of it was measured, entered, or is unknown."),
        ),
    ),
    (
        *EVIDENCE,
        (
            "posting",  # counted elsewhere: the catalogue has it with its plural
            N_("an amount on a job line or the shop; corrected by another, never changed"),
        ),
        (
            N_("difference"),
            N_(
                "actual less plan: cutting, piercing, travel, repeats, stoppages, waits, "
                "unknown; they sum exactly"
            ),
        ),
    ),
)

ADMINISTRATOR = Help(
    "administrator",
    N_("Sources are what the program listens to; people and screens are who speaks to it."),
    (
        (
            N_("Find"),
            "find",
            N_("whatever the shop gives a name to: jobs, parts, nests, sheets, heats"),
        ),
        (
            N_("Sources"),
            "sources",
            N_("each table’s lines: state, clock, what was refused and why"),
        ),
        (N_("Shop"), "shop", N_("zone, rules, shifts, reasons, remnants")),
        (N_("Calendar"), "calendar", N_("closed days, public holidays, overtime, tables down")),
        (
            N_("People"),
            "people",
            N_("roles, rights, badge, PIN, whose first pieces take a signature"),
        ),
        (N_("Screens"), "terminals", N_("beside the tables")),
        (N_("Backups"), "backups", N_("when they are made, where to, how many stay; make one now")),
        (N_("Verify records"), "verification", N_("whether journal, arcs, books and files agree")),
        (N_("Background work"), "work", N_("what is being worked out, what could not be")),
    ),
    (
        (
            N_("A new source"),
            N_(
                "Write what its lines look like and try it on a sample "
                "before it is kept. "
                "Lines that cannot be read are kept with their reason and "
                "read again once the description "
                "is mended. One line may say arc on, a pierce counter and "
                "amps at once: format level, "
                "with columns pierces and amps."
            ),
        ),
        (N_("A wrong clock"), N_("is put right from a moment on; raw stamps stay.")),
        (
            N_("Backup"),
            N_(
                "Backups are made every day where you say so, best on another disk. Each holds "
                "everything: records, journal, files, and the key that signs "
                "sign-ins; who has it has the "
                "shop. manage.py restore FILE puts one back."
            ),
        ),
    ),
    (
        *EVIDENCE,
        (N_("journal"), N_("every line as it came; everything else can be made again from it")),
        (N_("rebuild"), N_("journal to events, arcs and rollups again; what people said stays")),
    ),
    (HANDS[2],),
)
