"""What to mind before hands go near, and with metals that ask for more than the usual.

29 CFR 1910.147 is the control of hazardous energy (lockout), .252 to .254 welding, cutting and
brazing with arc equipment, .133 eye and face protection, .1026 chromium(VI); ANSI Z49.1 is safety
in welding, cutting and allied processes. Named from memory of their titles; the local code and
the maker's manual come first wherever they ask for more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_


@dataclass(frozen=True, slots=True)
class Caution:
    title: str
    lines: tuple[str, ...]
    references: str
    ordered: bool = False

    def to_reader(self) -> Caution:
        """As its reader reads it."""
        return replace(
            self,
            title=_(self.title),
            lines=tuple(_(line) for line in self.lines),
            references=_(self.references),
        )


CHANGE = Caution(
    title=N_("Before your hands go near"),
    lines=(
        N_("Power source off, isolated and locked out."),
        N_("Coolant and gas off and bled down."),
        N_("Let it cool. Copper holds heat."),
        N_("Protect eyes, hands and lungs."),
        N_("The maker’s manual says how."),
    ),
    references=N_(
        "ANSI Z49.1, 29 CFR 1910.147 and .252–.254, or your local code. This screen can’t "
        "tell whether the machine is safe. Not sure? Ask someone qualified."
    ),
    ordered=True,
)

RESTART = Caution(
    title=N_("After a crash or a power cut"),
    lines=(
        N_("Isolate and lock out before hands go near torch, lead or plate."),
        N_("Have position and torch looked at before it moves again."),
    ),
    references=N_(
        "ANSI Z49.1, 29 CFR 1910.147, the maker’s manual or your local code. This screen "
        "can’t tell whether the machine is safe."
    ),
)

OTHER_SET = Caution(
    title=N_("Another set than the nest asks"),
    lines=(
        N_(
            "Its current and its gas must be what the machine is set to. "
            "Look before the first pierce."
        ),
        N_("Stay within the maker’s limits for torch, parts and gas. Stop at a double arc."),
    ),
    references=N_(
        "ANSI Z49.1, 29 CFR 1910.254, the maker’s manual or your local code. This screen "
        "can’t tell what the machine is set to."
    ),
)

FINISH = Caution(
    title=N_("Before you unload"),
    lines=(
        N_("Torch off and parked, motion stopped, before anyone reaches in."),
        N_("Plate and parts stay hot long after the last arc. Edges and slag are sharp."),
        N_("Tipped parts can fall or spring. Hands and feet clear; lift as your shop’s rules say."),
    ),
    references=N_(
        "ANSI Z49.1, 29 CFR 1910.132, .138, .179 and .184, or your local code. This screen "
        "can’t tell whether the machine is safe."
    ),
)

BENCH = Caution(
    title=N_("Grinding and dross"),
    lines=(
        N_("Eyes, face, ears, hands and lungs protected. Guard on, wheel right for its speed."),
        N_("Parts may still be hot. Clamp them. Sparks away from people and from what burns."),
        N_("Aluminium and steel dust never together in one collector."),
    ),
    references=N_(
        "29 CFR 1910.95, .133, .134, .138, .215 and .243, or your local code. Not sure? Ask "
        "someone qualified."
    ),
)

PLATE = Caution(
    title=N_("Before a plate is moved"),
    lines=(
        N_("Torch off and parked, motion stopped. The plate may be hot and its edges sharp."),
        N_("Nobody under a load or beside a plate that can slide. Gear rated for its weight."),
        N_("Work lead on again, on clean metal: the plate is part of the circuit."),
    ),
    references=N_(
        "ANSI Z49.1, 29 CFR 1910.179, .184 and .254, or your local code. This screen can’t "
        "tell whether the machine is safe."
    ),
)

AIR = Caution(
    title=N_("Air under pressure"),
    lines=(
        N_("Eyes and ears protected before a drain is opened. Open it slowly, pointed away."),
        N_("Bleed pressure off before a hose or a bowl is undone."),
        N_("With the torch’s air on, the machine may be live: hands off torch and plate."),
    ),
    references=N_(
        "29 CFR 1910.95, .133, .147, .169 and .242, or your local code. Not sure? Ask "
        "someone qualified."
    ),
)

NEW_FIGURES = Caution(
    title=N_("Figures nobody has cut with yet"),
    lines=(
        N_("Try them on scrap first, by someone qualified on that table."),
        N_("Shade, gloves and extraction as for any cut; stand clear of the pierce."),
        N_("Stay within the maker’s limits for the torch, its parts and its gas."),
        N_("Figures from elsewhere are a beginning, never a promise."),
    ),
    references=N_(
        "ANSI Z49.1, 29 CFR 1910.252, .254 and .133, the maker’s manual or your local code. "
        "This page can’t tell whether the machine is safe."
    ),
)

METALS = {
    "chromium": Caution(
        title=N_("This metal holds chromium"),
        lines=(
            N_("Its fume can hold chromium(VI). Extraction on, filters in order."),
            N_("Breathing protection as your shop’s plan for chromium says."),
        ),
        references=N_(
            "29 CFR 1910.1026 and .252, ANSI Z49.1. "
            "Follow the maker’s manual and your local code. Not sure? Ask someone qualified."
        ),
    ),
    "coated": Caution(
        title=N_("This metal is coated"),
        lines=(
            N_("Zinc, paint or primer makes fume that harms. Extraction on."),
            N_("Know the coating before you burn it, or take it off along the cut."),
        ),
        references=N_(
            "29 CFR 1910.252, ANSI Z49.1. "
            "Follow the maker’s manual and your local code. Not sure? Ask someone qualified."
        ),
    ),
    "aluminium": Caution(
        title=N_("Aluminium: mind the water"),
        lines=(
            N_("Aluminium and water give hydrogen. It gathers under the plate and can explode."),
            N_("Cut it over a water table only as the table’s maker allows, with the air moving."),
            N_("Clear fines and dross from the bed first."),
        ),
        references=N_(
            "ANSI Z49.1, 29 CFR 1910.252. "
            "Follow the maker’s manual and your local code. Not sure? Ask someone qualified."
        ),
    ),
}


def metal_caution(mark: str) -> Caution | None:
    """The caution a material's mark asks for; None for a material without one."""
    found = METALS.get(mark)
    return found and found.to_reader()
