"""Who and what the invented shop has. Every name and price is made up."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time
from zoneinfo import ZoneInfo

SHOP = "Brindle Weir Fabricating"
PASSWORD = "burn clean plate"  # noqa: S105 - printed at every start of a demo
HOME_ZONE = "America/Chicago"
# Where it is night in the shop's own zone the demo moves to one where it is day, so that whoever
# opens it sees a shift at work. At any hour of any season one of these is within MID_SHIFT_H of
# the middle of its early shift.
OTHER_ZONES = (
    "America/Sao_Paulo",
    "Europe/Berlin",
    "Asia/Kolkata",
    "Asia/Tokyo",
    "Pacific/Auckland",
    "Pacific/Honolulu",
)
MID_SHIFT, MID_SHIFT_H = 10.75, 2.75


def demo_zone(now: datetime) -> str:
    """The home zone while its early shift is well under way, else the zone nearest to that."""

    def off(zone: str) -> float:
        local = now.astimezone(ZoneInfo(zone))
        return abs(local.hour + local.minute / 60 - MID_SHIFT)

    return HOME_ZONE if off(HOME_ZONE) <= MID_SHIFT_H else min((HOME_ZONE, *OTHER_ZONES), key=off)


@dataclass(frozen=True, slots=True)
class Person:
    username: str
    first: str
    last: str
    role: str
    badge: str
    pin: str


AT_TERMINALS = ("operator", "supervisor")  # roles with the right to work at one
PEOPLE = (
    Person("ann", "Ann", "Tiller", "owner", "B-100", "1001"),
    Person("dana", "Dana", "Okell", "supervisor", "B-110", "1101"),
    Person("ines", "Ines", "Farrow", "planner", "B-120", "1201"),
    Person("theo", "Theo", "Marsh", "administrator", "B-130", "1301"),
    Person("milo", "Milo", "Brandt", "operator", "B-201", "2468"),
    Person("tess", "Tess", "Quiroga", "operator", "B-202", "2469"),
    Person("per", "Per", "Lindahl", "operator", "B-203", "2470"),
)
CUSTOMERS = (
    "Marrow Hill",
    "Oxlode Bridge",
    "Fennimore",
    "Quayle Court",
    "Stonehatch",
    "Lower Tarn",
    "Pellworth",
    "Harrow Lane",
)


@dataclass(frozen=True, slots=True)
class ShiftOf:
    name: str
    start: time
    end: time
    weekdays: str
    tables: tuple[str, ...]
    operators: tuple[str, ...]


SHIFTS = (
    ShiftOf("early", time(6), time(14, 30), "12345", ("north", "south"), ("milo", "tess")),
    ShiftOf("late", time(14, 30), time(22, 30), "2", ("north",), ("per",)),
)
BREAKS: dict[str, list[tuple[str, int, str]]] = {
    "early": [("10:00", 15, "break")],
    "late": [("18:30", 15, "break")],
}

# Minor units an hour, for energy a kWh, and what that became RATES_ROSE_DAYS ago (None: nothing).
RATES = (
    ("machine", 5400, 5650),
    ("labour", 3300, 3450),
    ("bench", 2900, None),
    ("gas", 140, None),
    ("energy", 14, 15),
)
RATES_ROSE_DAYS = 40
SCRAP_MINOR_KG = 18  # what a skeleton brings by weight
OWN_PLATE = "Stonehatch"  # sends its own plate for some of what it orders
REASONS = (
    ("crane-busy", "crane busy", "stoppage"),
    ("plate-not-in", "plate not in", "stoppage"),
    ("arc-trouble", "arc trouble", "stoppage"),
    ("table-clean", "slats and slag", "stoppage"),
    ("waiting-program", "waiting for program", "stoppage"),
    ("crash", "torch crash", "crash"),
    ("power", "power lost", "stoppage"),
    ("set-change", "set change", "change"),
    ("break", "break", "planned"),
    ("handover", "shift change", "planned"),
)
MATERIALS = (
    ("A36", "Mild steel A36", "carbon", 7850.0, ""),
    ("304", "Stainless 304", "stainless", 8000.0, "chromium"),
    ("5052", "Aluminium 5052", "aluminium", 2680.0, "aluminium"),
)
PRICE_PER_KG = {"A36": 1.35, "304": 4.60, "5052": 4.95}
# kind, price in minor units, rated starts
PARTS = {
    "F50": (("electrode", 900, 900), ("nozzle", 750, 900), ("shield", 2100, 12000)),
    "F80": (("electrode", 1050, 850), ("nozzle", 880, 850), ("shield", 2300, 12000)),
    "P120": (("electrode", 1400, 700), ("nozzle", 1150, 700), ("shield", 2800, 10000)),
}
TABLES = (
    ("north", "North", 600.0, 18_000.0),
    ("south", "South", 450.0, 15_000.0),
)
