"""What a description may have read: files below the folders of KERFBOOK_SOURCE_DIRS and never
the data folder, serial ports that are devices, and URLs of the schemes in KERFBOOK_PORT_SCHEMES.

A description comes over a web page, so it must not open what its writer could not. It is judged
when it is registered, and again by what was really opened: a link put in afterwards, a rotated
file or a name in a drop folder leads no further than the description itself.
"""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from django.conf import settings

from telemetry.description import Source
from telemetry.errors import NotAllowed, SourceError
from telemetry.said import said

_DEV = "/dev"


def default_dirs() -> tuple[Path, ...]:
    """Where nothing is set: one folder beside the data folder."""
    return (Path(settings.DATA_DIR).parent / "sources",)


@dataclass(frozen=True, slots=True)
class Limits:
    """`dirs` None: files anywhere. Of `data` nothing is ever read."""

    dirs: tuple[Path, ...] | None
    data: Path
    schemes: tuple[str, ...]

    @classmethod
    def of_shop(cls) -> Limits:
        """For what the shop's own intake reads."""
        dirs = settings.SOURCE_DIRS or default_dirs()
        return cls(dirs, Path(settings.DATA_DIR), settings.PORT_SCHEMES)

    @classmethod
    def of_collector(cls) -> Limits:
        """Whoever starts a collector writes its description and has its rights: it reads where
        they can, unless the setting is made for it."""
        return cls(settings.SOURCE_DIRS, Path(settings.DATA_DIR), settings.PORT_SCHEMES)

    def check(self, source: Source) -> None:
        """Judges a description before anything is opened; what is not there yet may come.
        Raises NotAllowed with the key's name."""
        try:
            if source.kind == "serial" and source.port:
                if "://" in source.port:
                    self._check_scheme(source.port)
                else:
                    _check_device(source.port)
            elif source.kind in ("csv_file", "csv_folder") and source.path:
                self.check_path(Path(source.path))
        except NotAllowed as problem:
            key = "port" if source.kind == "serial" else "path"
            what = said("source.{key}: {problem}", key=key, problem=problem.said)
            raise NotAllowed(what) from problem

    def check_path(self, path: Path) -> None:
        """Judges where a path leads, links resolved. Raises NotAllowed."""
        try:
            real = os.path.realpath(path)
        except ValueError as problem:  # a NUL in it
            raise NotAllowed(said("{path!r} is no path", path=str(path))) from problem
        self._check_real(path, real)

    def open_file(self, path: Path) -> BinaryIO:
        """Opens a file to read, and judges what was opened. Raises NotAllowed, OSError."""
        self.check_path(path)
        # Without waiting: a pipe in the file's place must not hold the reader for ever.
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY | os.O_CLOEXEC)
        try:
            if not stat.S_ISREG(os.fstat(handle).st_mode):
                raise NotAllowed(said("{path} is no regular file", path=path))
            self._check_real(path, _opened(handle))
        except BaseException:
            os.close(handle)
            raise
        return os.fdopen(handle, "rb")

    def port(self, url: str) -> str:
        """What to open for a port: the URL, or the device a path leads to. Raises NotAllowed,
        and SourceError where there is none now."""
        if "://" in url:
            self._check_scheme(url)
            return url
        if not os.path.lexists(url):
            raise SourceError(said("{url}: no such device", url=url), retry=True)
        return _check_device(url)

    def _check_real(self, path: Path, real: str) -> None:
        if _below(real, self.data):
            raise NotAllowed(
                said(
                    "{path} lies in the data folder, which no source reads, whatever "
                    "KERFBOOK_SOURCE_DIRS lists",
                    path=path,
                )
            )
        if self.dirs is not None and not any(_below(real, folder) for folder in self.dirs):
            listed = ":".join(map(str, self.dirs))
            raise NotAllowed(
                said(
                    "{path} is not below a folder of KERFBOOK_SOURCE_DIRS ({listed})",
                    path=path,
                    listed=listed,
                )
            )

    def _check_scheme(self, url: str) -> None:
        scheme = url.partition("://")[0].lower()
        if scheme not in self.schemes:
            listed = ", ".join(self.schemes) or "none"
            raise NotAllowed(
                said(
                    "{scheme}:// is not among KERFBOOK_PORT_SCHEMES ({listed})",
                    scheme=scheme,
                    listed=listed,
                )
            )


def check_opened_device(handle: int, url: str) -> None:
    """Judges a serial port by what was really opened. Raises NotAllowed."""
    if not stat.S_ISCHR(os.fstat(handle).st_mode) or not _below(_opened(handle), Path(_DEV)):
        raise _no_device(url)


def _check_device(port: str) -> str:
    """The device a path leads to, links resolved. Raises NotAllowed."""
    try:
        real = os.path.realpath(port)
        if not _below(real, Path(_DEV)):
            raise _no_device(port)
        if os.path.exists(real) and not stat.S_ISCHR(os.stat(real).st_mode):
            raise _no_device(port)
    except ValueError as problem:
        raise _no_device(port) from problem
    return real


def _no_device(port: str) -> NotAllowed:
    return NotAllowed(
        said(
            "{port!r} is no serial device under /dev, nor a URL of a scheme that "
            "KERFBOOK_PORT_SCHEMES lists",
            port=port,
        )
    )


def _below(real: str, folder: Path) -> bool:
    """Whether a path without links is the folder or lies in it."""
    top = os.path.realpath(folder)
    return real == top or real.startswith(top.rstrip("/") + "/")


def _opened(handle: int) -> str:
    """Where an open file lies, told by the system (Linux)."""
    try:
        return os.readlink(f"/proc/self/fd/{handle}")
    except OSError as problem:
        raise SourceError(
            said("cannot tell what was opened: {problem}", problem=problem), retry=True
        ) from problem
