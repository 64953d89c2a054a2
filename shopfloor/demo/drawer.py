"""The demo's wear parts: pieces that come and go in a torch, age, and fail or are retired."""

from __future__ import annotations

from random import Random

from shopfloor.demo.cast import PARTS
from shopfloor.demo.rows import FitRow, PieceRow

PIT_LIMIT_MM = 1.6
PAIR = ("electrode", "nozzle")  # changed together, as is common practice (no source)
CHANGES_A_LOSS = 12  # set changes of a table between two parts that are mislaid


class Drawer:
    """One table's pieces. `fitted` is the set in the torch; the others wait half used."""

    def __init__(self, table: str, random: Random) -> None:
        self.table = table
        self.random = random
        self.pieces: list[PieceRow] = []
        self.now: dict[str, dict[str, PieceRow]] = {}  # set -> kind -> piece
        self.fitted = ""
        self.changes = 0

    def fit_set(self, code: str, at: float, by: str) -> None:
        """Shelves what is in and fits the set asked for, half used or new. Now and then a part
        that came out is not found again."""
        self.changes += 1
        out = self.now.get(self.fitted, {})
        for kind, piece in list(out.items()):
            lost = kind == "nozzle" and self.changes % CHANGES_A_LOSS == 0
            self._remove(piece, at, "lost" if lost else "shelved", "")
            if lost:
                del out[kind]
        self.fitted = code
        chosen = self.now.setdefault(code, {})
        for kind, _price, _rated in PARTS[code]:
            piece = chosen.get(kind) or self._new(code, kind)
            chosen[kind] = piece
            piece.fits.append(FitRow(self.table, at, by))
            piece.state = "fitted"

    def start(self) -> PieceRow | None:
        """One start on every piece in the torch. Returns the piece that fails at it, if any."""
        failed = None
        for piece in self.now[self.fitted].values():
            piece.starts += 1
            if piece.starts >= piece.life and failed is None:
                failed = piece
        return failed

    def look(self, at: float, by: str) -> bool:
        """The operator measures the electrode's pit. True where it is due."""
        piece = self.now[self.fitted]["electrode"]
        true_mm = PIT_LIMIT_MM * piece.starts / piece.life
        seen = max(0.0, round(true_mm * self.random.gauss(1.0, 0.06), 2))
        piece.seen.append((at, seen, by))
        return seen >= 0.92 * PIT_LIMIT_MM

    def replace(self, why: dict[str, tuple[str, str]], at: float, by: str) -> None:
        """Takes pieces out for good and fits new ones. `why` says of each kind what becomes of it
        and from what cause."""
        chosen = self.now[self.fitted]
        for kind, (state, cause) in why.items():
            self._remove(chosen[kind], at, state, cause)
            chosen[kind] = self._new(self.fitted, kind)
            chosen[kind].fits.append(FitRow(self.table, at, by))
            chosen[kind].state = "fitted"

    def _remove(self, piece: PieceRow, at: float, state: str, cause: str) -> None:
        stay = piece.fits[-1]
        stay.removed, stay.state, stay.cause = at, state, cause
        piece.state = state

    def _new(self, code: str, kind: str) -> PieceRow:
        rated = next(rated for name, _price, rated in PARTS[code] if name == kind)
        letter = {"electrode": "E", "nozzle": "N", "shield": "S"}[kind]
        prefix = f"{letter}{code[1:]}{self.table[0].upper()}"
        count = sum(piece.label.startswith(prefix) for piece in self.pieces) + 1
        made = PieceRow(f"{prefix}-{count:03d}", code, kind)
        # A Weibull life around the rating, shape 3: some die early, most reach it.
        made.life = 1.12 * rated * self.random.weibullvariate(1.0, 3.0)
        made.life = max(made.life, 0.15 * rated)
        self.pieces.append(made)
        return made
