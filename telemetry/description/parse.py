"""Feed descriptions: FEED.toml as frozen dataclasses.

The keys are those of the feed format, and nothing else: an unknown key is an error that names
it, because a misspelt key that is quietly ignored changes what lines mean.

Keys beyond the plain format: `[line] encoding` (utf-8, cp1252), `[line] decimal` ("." or ","),
and for level feeds `[line] on`, `off` (word lists, default "1" and "0"), or `on_from` in their
place (a measured level, such as the arc's amps, is on from there), and `debounce_s`. A level's line
may carry the torch's pierce counter (column `pierces`; `[line] counts_to` is its last number before
it begins again at 0) and its amps (column `amps`). A column named `ignore` is passed over. Left
out, `torch` is "1", `[source] kind` is push, `[time] from` is line where a column or name `time`
exists and arrival where none does.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from telemetry.description.toml_reader import TomlReader
from telemetry.errors import DescriptionError
from telemetry.events import KINDS, LONGEST_TORCH
from telemetry.said import said

SOURCE_KINDS: Final = ("serial", "csv_file", "csv_folder", "push")
FORMATS: Final = ("columns", "pairs", "json", "level")
CHECKSUMS: Final = ("none", "xor", "crc16-ccitt-false", "crc16-modbus")
STAMPS: Final = ("iso", "month_day_year", "day_month_year", "epoch_s", "epoch_ms")
CONTACTS: Final = ("torch_on", "pilot", "transfer")
FIELDS: Final = ("seq", "time", "signal", "value", "torch")
COLUMNS: Final = (*FIELDS, "ignore")
LEVEL_BESIDE: Final = ("pierces", "amps")  # what a poll can say beside its level
LEVEL_COLUMNS: Final = ("level", "seq", "time", "torch", *LEVEL_BESIDE, "ignore")
_LONGEST_TABLE: Final = 60  # letters that the tables hold


@dataclass(frozen=True, slots=True)
class Source:
    """Where lines come from. `port`/`baud` are for serial, `path` for the CSV kinds."""

    kind: str
    port: str | None = None
    baud: int = 9600
    path: str | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """How a line is put together."""

    format: str
    separator: str = ","
    columns: tuple[str, ...] = ()
    names: dict[str, str] = field(default_factory=dict)
    checksum: str = "none"
    encoding: str = "utf-8"
    decimal: str = "."
    on: tuple[str, ...] = ("1",)
    off: tuple[str, ...] = ("0",)
    debounce_s: float = 0.0
    counts_to: int = 0  # the pierce counter's last number before 0; 0: not stated
    on_from: float = 0.0  # a measured level at or above this is on; 0: the words in on/off decide


@dataclass(frozen=True, slots=True)
class Time:
    """Where times come from. `zone` is an IANA name for stamps without an offset."""

    source: str = "line"  # `from` in the file: line or arrival
    format: str = "iso"
    zone: str | None = None


@dataclass(frozen=True, slots=True)
class Knows:
    """What the source can tell; the rest is unknown, not zero."""

    contact: str | None = None
    pierces: bool = False


@dataclass(frozen=True, slots=True)
class Description:
    """One feed. `signals` maps the table's own word to an event kind (`events.KINDS`).

    `torch` is the torch of lines that name none; None where every line must name its own.
    """

    table: str
    torch: str | None
    source: Source
    line: Line
    time: Time
    signals: dict[str, int]
    knows: Knows
    window_s: float = 2.0

    @property
    def is_level(self) -> bool:
        """True for a bare contact, of which each poll means something only beside the last one."""
        return self.line.format == "level"

    @property
    def polls_tell_more(self) -> bool:
        """True where a line can give several events: an edge, and what it says beside."""
        return self.is_level and any(name in self.line.columns for name in LEVEL_BESIDE)

    @property
    def kinds(self) -> frozenset[int]:
        """Kinds of event that its lines can give."""
        if not self.is_level:
            return frozenset(self.signals.values())
        beside = {"pierces": KINDS["pierce"], "amps": KINDS["sample_a"]}
        counted = {kind for name, kind in beside.items() if name in self.line.columns}
        return frozenset({KINDS["arc_on"], KINDS["arc_off"], *counted})

    def knowing(self, later: Description) -> Description:
        """This one, with the words for on and off that `later` lists and this one does not."""
        known = {*self.line.on, *self.line.off, *self.signals}
        on = [word for word in later.line.on if word not in known]
        off = [word for word in later.line.off if word not in known]
        line = replace(self.line, on=(*self.line.on, *on), off=(*self.line.off, *off))
        return replace(self, line=line, signals={**later.signals, **self.signals})

    @property
    def times_from_arrival(self) -> bool:
        """True where lines carry no stamp and the moment they came in stands for it."""
        return self.time.source == "arrival"

    @property
    def has_seq(self) -> bool:
        """True where lines carry the device's own running number."""
        return "seq" in self.line.columns or "seq" in self.line.names


def read_description(path: Path) -> Description:
    """Read a description from a file. Raises DescriptionError."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise DescriptionError(f"{path}:1: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise DescriptionError(f"{path}:1: not UTF-8 text") from error
    return parse_description(text, name=str(path))


def parse_description(text: str, *, name: str = "FEED.toml") -> Description:
    """Read a description from TOML text. Raises DescriptionError as `name:LINE: key: ...`."""
    try:
        data: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DescriptionError(TomlReader.syntax_message(name, text, error)) from error
    except RecursionError as error:
        raise DescriptionError(f"{name}:1: nested too deeply") from error
    top = TomlReader(data, text=text, name=name)
    signals_reader = top.table("signals")
    signals = _signals(signals_reader)
    line = _line(top.table("line"))
    if line.format != "level" and KINDS["arc_on"] not in signals.values():
        raise signals_reader.wrong("arc_on", said("no word is listed for it"))
    time = _time(top.table("time"), line)
    named_torch = "torch" in line.columns or "torch" in line.names
    description = Description(
        table=top.label("table", _LONGEST_TABLE),
        torch=top.label("torch", LONGEST_TORCH, default=None if named_torch else "1"),
        source=_source(top.table("source")),
        line=line,
        time=time,
        signals=signals,
        knows=_knows(top.table("knows"), signals, line),
        window_s=_window(top.table("order")),
    )
    top.refuse_unknown()
    return description


def _source(reader: TomlReader) -> Source:
    source = Source(
        kind=reader.choice("kind", SOURCE_KINDS, default="push"),
        port=reader.text("port", default=None),
        baud=int(reader.number("baud", default=9600, least=50, most=10_000_000, whole=True)),
        path=reader.text("path", default=None),
    )
    reader.refuse_unknown()
    return source


def _line(reader: TomlReader) -> Line:
    format_ = reader.choice("format", FORMATS)
    separator = reader.text("separator", default=",")
    if not separator or any(c in separator for c in '\r\n"'):
        raise reader.wrong("separator", said("must be text without quotes or line ends"))
    is_level = format_ == "level"
    line = Line(
        format=format_,
        separator=separator,
        columns=_columns(reader, format_),
        names=reader.names("names", FIELDS),
        checksum=reader.choice("checksum", CHECKSUMS, default="none"),
        encoding=reader.choice("encoding", ("utf-8", "cp1252"), default="utf-8"),
        decimal=reader.choice("decimal", (".", ","), default="."),
        on=reader.words("on", default=("1",)),
        off=reader.words("off", default=("0",)),
        debounce_s=reader.number("debounce_s", default=0.0, least=0, most=60),
        on_from=reader.number("on_from", default=0.0, least=0, most=1_000_000),
        counts_to=int(reader.number("counts_to", default=0, least=0, most=10**15, whole=True)),
    )
    if not is_level:
        for key in ("on", "off", "debounce_s", "on_from", "counts_to"):
            reader.refuse(key, said("is for format level only"))
    elif reader.has("on_from") and not line.on_from:
        raise reader.wrong(
            "on_from", said("must be more than 0; leave it out where the level is a word")
        )
    elif line.on_from:
        for key in ("on", "off"):
            reader.refuse(key, said("leave it out: on_from already says which level is on"))
    elif set(line.on) & set(line.off):
        raise reader.wrong("on", said("a word cannot mean both on and off"))
    if is_level and "pierces" not in line.columns:
        reader.refuse("counts_to", said("is for a column pierces, and none is listed"))
    if reader.has("counts_to") and not line.counts_to:
        raise reader.wrong(
            "counts_to", said("must be more than 0; leave it out where it is not known")
        )
    if format_ in ("pairs", "json") and "signal" not in line.names:
        raise reader.wrong("names", said("must say which name is the signal"), FIELDS)
    measures = format_ in ("columns", "pairs") or "amps" in line.columns
    if line.decimal == "," and separator == "," and measures:
        raise reader.wrong("decimal", said("a decimal comma cannot be told from the separator"))
    reader.refuse_unknown()
    return line


def _columns(reader: TomlReader, format_: str) -> tuple[str, ...]:
    if format_ not in ("columns", "level"):
        reader.refuse("columns", said("is not for format {form}, use names", form=format_))
        return ()
    reader.refuse("names", said("is not for format {form}, use columns", form=format_))
    default = ("level",) if format_ == "level" else None
    allowed = LEVEL_COLUMNS if format_ == "level" else COLUMNS
    columns = reader.words("columns", default=default)
    if format_ == "level":
        columns = tuple("level" if c in ("signal", "value") else c for c in columns)
    for column in columns:
        if column not in allowed:
            raise reader.wrong("columns", said("unknown column {column!r}", column=column), allowed)
        if column != "ignore" and columns.count(column) > 1:
            raise reader.wrong("columns", said("{column} is listed twice", column=column))
    needed = "level" if format_ == "level" else "signal"
    if needed not in columns:
        raise reader.wrong("columns", said("{needed} is missing", needed=needed))
    return columns


def _time(reader: TomlReader, line: Line) -> Time:
    has_time = "time" in line.columns or "time" in line.names
    time = Time(
        source=reader.choice(
            "from", ("line", "arrival"), default="line" if has_time else "arrival"
        ),
        format=reader.choice("format", STAMPS, default="iso"),
        zone=reader.text("zone", default=None),
    )
    if time.source == "line" and not has_time:
        raise reader.wrong("from", said("is line, but no column or name is time"))
    if time.zone is not None:
        try:
            ZoneInfo(time.zone)
        except (KeyError, OSError, ValueError) as error:
            message = said(
                "unknown zone {zone!r}, allowed: an IANA name like America/Chicago", zone=time.zone
            )
            raise reader.wrong("zone", message) from error
    reader.refuse_unknown()
    return time


def _signals(reader: TomlReader) -> dict[str, int]:
    signals: dict[str, int] = {}
    for key, kind in KINDS.items():
        for word in reader.words(key, default=()):
            if signals.setdefault(word, kind) != kind:
                raise reader.wrong(key, said("{word!r} is listed for two signals", word=word))
    reader.refuse_unknown(tuple(KINDS))
    return signals


def _knows(reader: TomlReader, signals: dict[str, int], line: Line) -> Knows:
    contact = reader.text("contact", default=None)
    if contact is not None:
        contact = reader.choice("contact", CONTACTS)
    # Without a word or a counter for it no line can tell of a pierce, whatever is claimed here.
    told = KINDS["pierce"] in signals.values() or "pierces" in line.columns
    knows = Knows(contact=contact, pierces=reader.flag("pierces", default=True) and told)
    reader.refuse_unknown()
    return knows


def _window(reader: TomlReader) -> float:
    window_s = reader.number("window_s", default=2.0, least=0, most=3600)
    reader.refuse_unknown()
    return window_s
