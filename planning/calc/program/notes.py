"""Notes of one reading: each with its line, a flood of the same one cut short and said so."""

from __future__ import annotations

from planning.calc.program.types import Note
from planning.calc.said import said

MOST_OF_A_KIND = 20


class NoteBook:
    """Collects notes. The same text is kept ``MOST_OF_A_KIND`` times, then counted."""

    def __init__(self) -> None:
        self._notes: list[Note] = []
        self._seen: dict[str, int] = {}
        self._last: dict[str, int] = {}

    def add(self, line: int, text: str) -> None:
        count = self._seen[text] = self._seen.get(text, 0) + 1
        if count <= MOST_OF_A_KIND:
            self._notes.append(Note(line, text))
        self._last[text] = line

    def once(self, line: int, text: str) -> None:
        if text not in self._seen:
            self.add(line, text)

    def finish(self) -> tuple[Note, ...]:
        more = [
            Note(
                self._last[text],
                said("{text} ({count} more up to here)", text=text, count=count - MOST_OF_A_KIND),
            )
            for text, count in self._seen.items()
            if count > MOST_OF_A_KIND
        ]
        return tuple(sorted([*self._notes, *more], key=lambda note: note.line))
