"""Variables as a program runs: numbered ones are everybody's, named ones belong to the call they
are set in unless their name begins with ``_``."""

from __future__ import annotations

from planning.calc.program.expressions import ExpressionError, Key
from planning.calc.said import said

# A call with arguments gives the subprogram numbers 1 to 30 of its own.
OWN_NUMBERS = range(1, 31)


class Variables:
    def __init__(self) -> None:
        self._shared: dict[Key, float] = {}
        self._own: list[dict[Key, float]] = [{}]
        self._kept: list[dict[Key, float] | None] = []

    def get(self, key: Key) -> float:
        value = self._room(key).get(key)
        if value is None:
            name = f"#{key}" if isinstance(key, int) else f"#<{key.lower()}>"
            raise ExpressionError(said("{name} has no value before this line", name=name))
        return value

    def known(self, key: Key) -> bool:
        return key in self._room(key)

    def set(self, key: Key, value: float) -> None:
        self._room(key)[key] = value

    def enter(self, arguments: list[float] | None) -> None:
        """A call begins; with ``arguments`` they are its #1, #2 and so on."""
        self._own.append({})
        if arguments is None:
            self._kept.append(None)
            return
        self._kept.append({n: self._shared.pop(n) for n in OWN_NUMBERS if n in self._shared})
        self._shared.update(enumerate(arguments, 1))

    def leave(self) -> None:
        self._own.pop()
        kept = self._kept.pop()
        if kept is not None:
            for number in OWN_NUMBERS:
                self._shared.pop(number, None)
            self._shared.update(kept)

    def _room(self, key: Key) -> dict[Key, float]:
        return self._shared if isinstance(key, int) or key.startswith("_") else self._own[-1]
