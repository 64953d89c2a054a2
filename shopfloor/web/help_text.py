"""Help inside the program: for each person what their pages do, in what order, and the words."""

from __future__ import annotations

from dataclasses import dataclass

from shopfloor.chart.duties import DUTIES

Rows = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Help:
    """`pages`: label, URL name, what it does. `ways`: what to do when. `words`: what they mean."""

    role: str
    lede: str
    pages: tuple[tuple[str, str, str], ...]
    ways: Rows
    words: Rows
    cautions: tuple[str, ...] = ()


HANDS = (
    "Before parts are changed: power source isolated and locked out (29 CFR 1910.147 or your local "
    "code), torch cool, gas off.",
    "Eyes and lungs: shade 8 or darker below 300 A (29 CFR 1910.133), extraction running; "
    "chromium-bearing and coated metal give off fumes that harm (29 CFR 1910.1026, .252).",
    "The maker’s manual, ANSI Z49.1 and the judgement of qualified people come first. This program "
    "only listens: it never starts, stops or releases a machine, and never says one is safe.",
)
EVIDENCE = (
    ("measured", "heard from the table itself"),
    ("entered", "said by a person"),
    ("planned", "worked out beforehand from program and chart"),
    ("unknown", "nobody knows; never counted as nothing"),
)
SHOP_WORDS = (
    ("arc", "one burning of the torch, from on to off"),
    ("nest, contour", "a cut program for one sheet, and its numbered cuts"),
    ("run, segment", "a nest burnt on one sheet; an unbroken stretch of that"),
    ("set, piece, tray", "the wear parts for one current; one of them; those carried together"),
    ("stoppage, wait", "standing with a reason; standing briefly without one"),
    ("shortage", "parts still owed after scrap"),
)

OPERATOR = Help(
    "operator",
    "The screen beside the table says what to cut next, with which set, on which sheet.",
    (),
    (
        ("Sign in", "Scan your badge or touch your name, then the PIN. Five wrong PINs lock it for "
         "five minutes. The screen signs you out when nobody touches it; the run goes on."),
        ("Start", "Touch the nest, or scan its setup sheet, traveler or sheet. Another sheet than "
         "planned asks why. Without a scanner touch Photo scan and take a picture of the code. A "
         "void paper says so: fetch the newest."),
        ("First piece", "Measure u, the angle, or the size at top and bottom; with the size asked "
         "it tells how far the kerf is off. + moves the path further from the part. If your checks "
         "take a second signature, somebody else measures and signs with badge and PIN."),
        ("Stop", "Touch Stop, then why. Short waits need no word."),
        ("Change", "Scan the tray that goes in: all its pieces are changed at once. Or touch the "
         "one piece, and say what became of the old one."),
        ("Air", "Once a shift, with the torch’s air flowing: one touch keeps the pressure and "
         "whether the water was drained. At rest the gauge says nothing. Wet air eats nozzles: "
         "your reading is shown beside what failed in that shift."),
        ("Restart", "After power loss or a crash touch the contour it goes on from."),
        ("Sheet", "Another plate than the books say: scan it and say since when. From the first "
         "contour: stock and heat move to it. From now on: the run ends on the old plate "
         "with what was cut, and a new one begins."),
        ("Finish", "All is good but what you touch on the map. Mark the heat on what stays before "
         "it is cut away; give its size and it is stock, with a code of its own."),
        ("Undo", "Ten minutes for whatever you entered. There is no “are you sure”."),
        ("No network", "Carry on. What you enter waits on the tablet, with its time, and goes in "
         "later. If somebody else said otherwise meanwhile both are kept."),
    ),
    (*SHOP_WORDS, ("u, range", "how far a cut face is off square; 1 is the squarest (ISO 9013)")),
    HANDS,
)  # fmt: skip
SUPERVISOR = Help(
    "supervisor",
    "Today is the page to begin with: what burns, what is behind, what needs attention.",
    (
        ("Today", "today", "each table’s shift as a strip; notes with the action in them"),
        ("Find", "find", "a job, part, nest, sheet or heat by any piece of its name, or by a scan"),
        ("Late entries", "late", "two counts of one sheet side by side: take one, reject one"),
        ("Queue", "queue", "what each table burns next; move, remove"),
        ("Stock", "stock", "sheets, their heats and certificates"),
        ("Plate needed", "low_stock", "whole sheets against what the queue needs"),
        ("Remnants", "remnants", "age and worth; write off, labels, customers’ remnants"),
        ("Checks", "checks", "measured cuts over time, and what stands out"),
    ),
    (
        ("Arcs without a job", "Say which run or nest they were. A stretch of two runs is split at "
         "a pause. It can be taken back for ten minutes; a rebuild keeps what you said."),
        ("A run nobody closed", "ends at its last arc and says “assumed”."),
        ("Where a part came from", "Find its job: its heats are there with their certificates. "
         "Find a heat: every job cut from it."),
        ("The air", "Operators read it at the screen. Wear shows each shift’s reading beside "
         "the pieces that failed then: look at traps and dryer before buying parts."),
        ("A silent source", "The table is unknown since then. Its page takes what you counted; "
         "lines that come later replace it and show the difference."),
        ("Read the strip", "Ink is done, pencil is expected. Ends 13:52 (13:40–14:10) is the "
         "middle and where eight of ten such days end."),
    ),
    (*SHOP_WORDS, *EVIDENCE),
    HANDS,
)  # fmt: skip
PLANNER = Help(
    "planner",
    "Jobs become nests, nests become places in a table’s queue.",
    (
        ("Find", "find", "a paper scanned or a name typed opens its page; part of a name lists"),
        ("Jobs", "jobs", "what is owed; bring them in as CSV or XLSX, print the traveler"),
        ("Nests", "nests", "cut programs, their plan, which parts are for which line"),
        ("Queue", "queue", "what each table burns next, each with its sheet"),
        ("Cut chart", "chart", "the shop’s own: speed, heights, kerf by set and thickness"),
        ("Trials", "trials", "cuts tried on scrap, and which became a row"),
        ("Tables", "tables", "how each moves and reads a program"),
        ("Stock", "stock", "receive plate; a heat opens every part cut from it"),
        ("Plate needed", "low_stock", "what the queue needs against what is free"),
        ("Remnants", "remnants", "what could still be cut from"),
        ("Balance", "balance", "duty by duty: minutes, bench, cost"),
        ("Wear", "wear", "each torch’s pieces and the drawer"),
    ),
    (
        ("Sizes as you write them", "16 ga, 1/4 in, 6 mm: kept as typed, with the millimetres "
         "beside it. A gauge needs its metal."),
        ("A sheet is promised once", "A place in a queue keeps its sheet; another nest cannot have "
         "it until that place is removed."),
        ("A changed program", "is a new revision. Where the torch’s path changed, setup sheets "
         "printed before are void and say so when scanned; a changed comment voids nothing."),
        ("Plans", "come from program, chart and table. “Refused” says why there is none. Where one "
         "of the three changes they are made again."),
        ("A long file", "is taken in beside the pages. It shows how far it is and can be stopped; "
         "nothing half is kept."),
    ),
    (*SHOP_WORDS, *EVIDENCE,
     ("duty", "; ".join(f"{duty.label}: {duty.meaning}" for duty in DUTIES))),
    ("Example charts are invented: example values, not for cutting. Yours come from the maker’s "
     "manual and your own trials.", HANDS[2]),
)  # fmt: skip
OWNER = Help(
    "owner",
    "Cost says where quote, plan and actual part, and why; every figure opens to its runs.",
    (
        ("Cost", "cost", "jobs, cost per metre or foot, where the hours go; close and print a "
         "month"),
        ("Find", "find", "a job or part by any piece of its name, a heat by its number"),
        ("Jobs", "jobs", "quotes, what is posted on each line"),
        ("Rates", "rates", "machine, operator, bench, gas, power, each from a day on"),
        ("Remnants", "remnants", "what is left outside and what it is worth"),
        ("Wear", "wear", "what a start of each piece costs"),
        ("Today", "today", "how the day is going"),
    ),
    (
        ("A closed month", "never changes. A later fact is posted into the open month and names "
         "the one it belongs to, with who and why."),
        ("Who sees what", "Cost, wage rates, margin and times of single persons are separate "
         "rights. The screens beside tables and papers carry no money."),
        ("A written-off remnant", "costs the shop, never a job."),
        ("Coverage", "Beside each total: how much of it was measured, entered, or is unknown."),
    ),
    (*EVIDENCE, ("posting", "an amount on a job line or the shop; corrected by another, never "
     "changed"),
     ("difference", "actual less plan: cutting, piercing, travel, repeats, stoppages, waits, "
      "unknown; they sum exactly")),
)  # fmt: skip
ADMINISTRATOR = Help(
    "administrator",
    "Sources are what the program listens to; people and screens are who speaks to it.",
    (
        ("Find", "find", "whatever the shop gives a name to: jobs, parts, nests, sheets, heats"),
        ("Sources", "sources", "each table’s lines: state, clock, what was refused and why"),
        ("Shop", "shop", "zone, rules, shifts, reasons, remnants"),
        ("People", "people", "roles, rights, badge, PIN, whose first pieces take a signature"),
        ("Screens", "terminals", "beside the tables"),
        ("Backups", "backups", "when they are made, where to, how many stay; make one now"),
        ("Verify records", "verification", "whether journal, arcs, books and files agree"),
        ("Background work", "work", "what is being worked out, what could not be"),
    ),
    (
        ("A new source", "Write what its lines look like and try it on a sample before it is kept. "
         "Lines that cannot be read are kept with their reason and read again once the description "
         "is mended. One line may say arc on, a pierce counter and amps at once: format level, "
         "with columns pierces and amps."),
        ("A wrong clock", "is put right from a moment on; raw stamps stay."),
        ("Backup", "Backups are made every day where you say so, best on another disk. Each holds "
         "everything: records, journal, files, and the key that signs sign-ins; who has it has the "
         "shop. manage.py restore FILE puts one back."),
    ),
    (*EVIDENCE, ("journal", "every line as it came; everything else can be made again from it"),
     ("rebuild", "journal to events, arcs and rollups again; what people said stays")),
    (HANDS[2],),
)  # fmt: skip
HELPS = {one.role: one for one in (OPERATOR, SUPERVISOR, PLANNER, OWNER, ADMINISTRATOR)}
