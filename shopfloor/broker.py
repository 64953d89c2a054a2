"""The embedded broker: kombu's messages as files, but written whole before they can be seen.

kombu makes a message's file under its final name and then writes into it, and takes it by moving
it into the system's temporary folder. A worker that looks in between reads half a message, ends
over it, and the message is lost. Here a message appears by renaming, and is taken by renaming.
"""

from __future__ import annotations

import os
import time
import uuid
from pathlib import Path
from queue import Empty
from typing import Any

from kombu.transport import filesystem
from kombu.utils.encoding import bytes_to_str, str_to_bytes
from kombu.utils.json import dumps, loads


class Channel(filesystem.Channel):
    # kombu's channels name the second argument in two ways, so no signature suits both
    def _put(self, queue: str, payload: dict[str, Any], **_: Any) -> None:  # type: ignore[override]
        folder = Path(self.data_folder_out)
        name = f"{time.monotonic_ns() // 1_000_000}_{uuid.uuid4()}.{queue}.msg"
        unseen = folder / f".{name}.part"
        unseen.write_bytes(str_to_bytes(dumps(payload)))
        os.replace(unseen, folder / name)

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        folder = Path(self.data_folder_in)
        for name in sorted(os.listdir(folder)):
            if name.startswith(".") or name.partition(".")[2] != f"{queue}.msg":
                continue
            taken = folder / f".{name}.{uuid.uuid4()}.taken"
            try:
                os.replace(folder / name, taken)
            except FileNotFoundError:
                continue  # another worker was quicker
            body = taken.read_bytes()
            taken.unlink()
            return loads(bytes_to_str(body))
        raise Empty


class Transport(filesystem.Transport):
    Channel = Channel
