"""Help inside the program: for each person what their pages do, in what order, and the words."""

from __future__ import annotations

from django.utils.translation import gettext_noop as N_

from shopfloor.web.help_office import ADMINISTRATOR, OWNER, PLANNER
from shopfloor.web.help_shape import Help
from shopfloor.web.help_words import EVIDENCE, HANDS, SHOP_WORDS

OPERATOR = Help(
    "operator",
    N_("The screen beside the table says what to cut next, with which set, on which sheet."),
    (),
    (
        (
            N_("Sign in"),
            N_(
                "Scan your badge or touch your name, then the PIN. Five "
                "wrong PINs lock it for "
                "five minutes. The screen signs you out when nobody touches it; the run goes on."
            ),
        ),
        (
            N_("Start"),
            N_(
                "Touch the nest, or scan its setup sheet, traveler or sheet. "
                "Another sheet than "
                "planned asks why. Without a scanner touch Photo scan and "
                "take a picture of the code. A "
                "void paper says so: fetch the newest."
            ),
        ),
        (
            N_("First piece"),
            N_(
                "Measure u, the angle, or the size at top and bottom; with "
                "the size asked "
                "it tells how far the kerf is off. + moves the path further "
                "from the part. If your checks "
                "take a second signature, somebody else measures and signs with badge and PIN."
            ),
        ),
        (N_("Stop"), N_("Touch Stop, then why. Short waits need no word.")),
        (
            N_("Change"),
            N_(
                "Scan the tray that goes in: all its pieces are changed at "
                "once. Or touch the "
                "one piece, and say what became of the old one."
            ),
        ),
        (
            N_("Air"),
            N_(
                "Once a shift, with the torch’s air flowing: one touch keeps "
                "the pressure and "
                "whether the water was drained. At rest the gauge says "
                "nothing. Wet air eats nozzles: "
                "your reading is shown beside what failed in that shift."
            ),
        ),
        (N_("Restart"), N_("After power loss or a crash touch the contour it goes on from.")),
        (
            N_("Sheet"),
            N_(
                "Another plate than the books say: scan it and say since "
                "when. From the first "
                "contour: stock and heat move to it. From now on: the run ends on the old plate "
                "with what was cut, and a new one begins."
            ),
        ),
        (
            N_("Finish"),
            N_(
                "All is good but what you touch on the map. Mark the heat on "
                "what stays before "
                "it is cut away; give its size and it is stock, with a code of its own."
            ),
        ),
        (N_("Undo"), N_("Ten minutes for whatever you entered. There is no “are you sure”.")),
        (
            N_("No network"),
            N_(
                "Carry on. What you enter waits on the tablet, with its "
                "time, and goes in "
                "later. If somebody else said otherwise meanwhile both are kept."
            ),
        ),
    ),
    (
        *SHOP_WORDS,
        (N_("u, range"), N_("how far a cut face is off square; 1 is the squarest (ISO 9013)")),
    ),
    HANDS,
)

SUPERVISOR = Help(
    "supervisor",
    N_("Today is the page to begin with: what burns, what is behind, what needs attention."),
    (
        (N_("Today"), "today", N_("each table’s shift as a strip; notes with the action in them")),
        (N_("Notes of the day"), "notes", N_("what wanted a hand, from when to when, who saw it")),
        (
            N_("For the next shift"),
            "hand_over_write",
            N_("done, stops, next, late and wrong, as the records say; put it right and save it"),
        ),
        (N_("At a glance"), "glance", N_("a week or a month by table and shift")),
        (
            N_("Find"),
            "find",
            N_("a job, part, nest, sheet or heat by any piece of its name, or by a scan"),
        ),
        (
            N_("Delayed entries"),
            "late",
            N_("two counts of one sheet side by side: take one, reject one"),
        ),
        (N_("Queue"), "queue", N_("what each table burns next; move, remove")),
        (N_("Promises"), "promises", N_("when each job will be done, its chance, what would help")),
        (N_("Calendar"), "calendar", N_("a table down, closed days, overtime")),
        (N_("Stock"), "stock", N_("sheets, their heats and certificates")),
        (N_("Plate needed"), "low_stock", N_("whole sheets against what the queue needs")),
        (N_("Remnants"), "remnants", N_("age and worth; write off, labels, customers’ remnants")),
        (N_("Checks"), "checks", N_("measured cuts over time, and what stands out")),
    ),
    (
        (
            N_("Arcs without a job"),
            N_(
                "Say which run or nest they were. A stretch of two runs is "
                "split at "
                "a pause. It can be taken back for ten minutes; a rebuild keeps what you said."
            ),
        ),
        (N_("A run nobody closed"), N_("ends at its last arc and says “assumed”.")),
        (
            N_("Where a part came from"),
            N_(
                "Find its job: its heats are there with their certificates. "
                ""
                "Find a heat: every job cut from it."
            ),
        ),
        (
            N_("The air"),
            N_(
                "Operators read it at the screen. Wear shows each shift’s "
                "reading beside "
                "the pieces that failed then: look at traps and dryer before buying parts."
            ),
        ),
        (
            N_("A silent source"),
            N_(
                "The table is unknown since then. Its page takes what you "
                "counted; "
                "lines that come later replace it and show the difference."
            ),
        ),
        (
            N_("Read the strip"),
            N_(
                "Ink is done, pencil is expected. Ends 13:52 (13:40–14:10) is the "
                "middle and where eight of ten such days end."
            ),
        ),
    ),
    (*SHOP_WORDS, *EVIDENCE),
    HANDS,
)

HELPS = {one.role: one for one in (OPERATOR, SUPERVISOR, PLANNER, OWNER, ADMINISTRATOR)}
