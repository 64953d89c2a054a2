"""What to mind before hands go near, and with metals that ask for more than the usual.

29 CFR 1910.147 is the control of hazardous energy (lockout), .252 to .254 welding, cutting and
brazing with arc equipment, .133 eye and face protection, .1026 chromium(VI); ANSI Z49.1 is safety
in welding, cutting and allied processes. Named from memory of their titles; the local code and
the maker's manual come first wherever they ask for more.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Caution:
    title: str
    lines: tuple[str, ...]
    references: str
    ordered: bool = False


CHANGE = Caution(
    title="Before your hands go near",
    lines=(
        "Power source off, isolated and locked out.",
        "Coolant and gas off and bled down.",
        "Let it cool. Copper holds heat.",
        "Protect eyes, hands and lungs.",
        "The maker’s manual says how.",
    ),
    references="ANSI Z49.1, 29 CFR 1910.147 and .252–.254, or your local code. This screen can’t "
    "tell whether the machine is safe. Not sure? Ask someone qualified.",
    ordered=True,
)

RESTART = Caution(
    title="After a crash or a power cut",
    lines=(
        "Isolate and lock out before hands go near torch, lead or plate.",
        "Have position and torch looked at before it moves again.",
    ),
    references="ANSI Z49.1, 29 CFR 1910.147, the maker’s manual or your local code. This screen "
    "can’t tell whether the machine is safe.",
)

OTHER_SET = Caution(
    title="Another set than the nest asks",
    lines=(
        "Its current and its gas must be what the machine is set to. Look before the first pierce.",
        "Stay within the maker’s limits for torch, parts and gas. Stop at a double arc.",
    ),
    references="ANSI Z49.1, 29 CFR 1910.254, the maker’s manual or your local code. This screen "
    "can’t tell what the machine is set to.",
)

FINISH = Caution(
    title="Before you unload",
    lines=(
        "Torch off and parked, motion stopped, before anyone reaches in.",
        "Plate and parts stay hot long after the last arc. Edges and slag are sharp.",
        "Tipped parts can fall or spring. Hands and feet clear; lift as your shop’s rules say.",
    ),
    references="ANSI Z49.1, 29 CFR 1910.132, .138, .179 and .184, or your local code. This screen "
    "can’t tell whether the machine is safe.",
)

BENCH = Caution(
    title="Grinding and dross",
    lines=(
        "Eyes, face, ears, hands and lungs protected. Guard on, wheel right for its speed.",
        "Parts may still be hot. Clamp them. Sparks away from people and from what burns.",
        "Aluminium and steel dust never together in one collector.",
    ),
    references="29 CFR 1910.95, .133, .134, .138, .215 and .243, or your local code. Not sure? Ask "
    "someone qualified.",
)

PLATE = Caution(
    title="Before a plate is moved",
    lines=(
        "Torch off and parked, motion stopped. The plate may be hot and its edges sharp.",
        "Nobody under a load or beside a plate that can slide. Gear rated for its weight.",
        "Work lead on again, on clean metal: the plate is part of the circuit.",
    ),
    references="ANSI Z49.1, 29 CFR 1910.179, .184 and .254, or your local code. This screen can’t "
    "tell whether the machine is safe.",
)

AIR = Caution(
    title="Air under pressure",
    lines=(
        "Eyes and ears protected before a drain is opened. Open it slowly, pointed away.",
        "Bleed pressure off before a hose or a bowl is undone.",
        "With the torch’s air on, the machine may be live: hands off torch and plate.",
    ),
    references="29 CFR 1910.95, .133, .147, .169 and .242, or your local code. Not sure? Ask "
    "someone qualified.",
)

NEW_FIGURES = Caution(
    title="Figures nobody has cut with yet",
    lines=(
        "Try them on scrap first, by someone qualified on that table.",
        "Shade, gloves and extraction as for any cut; stand clear of the pierce.",
        "Stay within the maker’s limits for the torch, its parts and its gas.",
        "Figures from elsewhere are a beginning, never a promise.",
    ),
    references="ANSI Z49.1, 29 CFR 1910.252, .254 and .133, the maker’s manual or your local code. "
    "This page can’t tell whether the machine is safe.",
)

_END = "Follow the maker’s manual and your local code. Not sure? Ask someone qualified."
METALS = {
    "chromium": Caution(
        title="This metal holds chromium",
        lines=(
            "Its fume can hold chromium(VI). Extraction on, filters in order.",
            "Breathing protection as your shop’s plan for chromium says.",
        ),
        references=f"29 CFR 1910.1026 and .252, ANSI Z49.1. {_END}",
    ),
    "coated": Caution(
        title="This metal is coated",
        lines=(
            "Zinc, paint or primer makes fume that harms. Extraction on.",
            "Know the coating before you burn it, or take it off along the cut.",
        ),
        references=f"29 CFR 1910.252, ANSI Z49.1. {_END}",
    ),
    "aluminium": Caution(
        title="Aluminium: mind the water",
        lines=(
            "Aluminium and water give hydrogen. It gathers under the plate and can explode.",
            "Cut it over a water table only as the table’s maker allows, with the air moving.",
            "Clear fines and dross from the bed first.",
        ),
        references=f"ANSI Z49.1, 29 CFR 1910.252. {_END}",
    ),
}


def metal_caution(mark: str) -> Caution | None:
    """The caution a material's mark asks for; None for a material without one."""
    return METALS.get(mark)
