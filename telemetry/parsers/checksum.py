"""Checksums of lines, over the bytes as they came.

xor: two hex digits after `*`, over all before it, after a leading `$` if any. CRCs: four hex
digits after the last separator, high byte first, over all before that separator. Capitals do
not matter. The check values of the CRC catalogue for "123456789" are 29B1 (CCITT-FALSE:
polynomial 1021, start FFFF, not reflected) and 4B37 (MODBUS: polynomial 8005, start FFFF,
reflected).
"""

from __future__ import annotations

import binascii
from collections.abc import Callable
from functools import reduce
from operator import xor
from typing import Final

from telemetry.errors import ParseError
from telemetry.said import said


def xor_of(data: bytes) -> int:
    """Exclusive or of all bytes, 0 to 255."""
    return reduce(xor, data, 0)


def crc16_ccitt_false(data: bytes) -> int:
    """CRC-16/CCITT-FALSE, also catalogued as IBM-3740."""
    return binascii.crc_hqx(data, 0xFFFF)


def _modbus_row(byte: int) -> int:
    for _ in range(8):
        byte = (byte >> 1) ^ (0xA001 if byte & 1 else 0)
    return byte


_MODBUS: Final = tuple(_modbus_row(byte) for byte in range(256))


def crc16_modbus(data: bytes) -> int:
    """CRC-16/MODBUS."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc >> 8) ^ _MODBUS[(crc ^ byte) & 0xFF]
    return crc


def make_check(kind: str, separator: str) -> Callable[[bytes], bytes] | None:
    """A function that checks a line and returns it without its checksum; None for "none".

    It raises ParseError with `no checksum` or `bad checksum`.
    """
    if kind == "none":
        return None
    mark = separator.encode("utf-8")

    def check_xor(raw: bytes) -> bytes:
        body, star, digits = raw.rpartition(b"*")
        if not star:
            raise ParseError("no checksum", said("no * with two hex digits"))
        if body[:1] == b"$":
            body = body[1:]
        return _agree(body, xor_of(body), digits, 2)

    if kind == "xor":
        return check_xor
    crc = CRCS[kind]

    def check_crc(raw: bytes) -> bytes:
        body, found, digits = raw.rpartition(mark)
        if not found:
            raise ParseError("no checksum", said("no separator with four hex digits"))
        return _agree(body, crc(body), digits, 4)

    return check_crc


# Each gives four hex digits. A kind that is missing here is an error, not another kind.
CRCS: Final = {"crc16-ccitt-false": crc16_ccitt_false, "crc16-modbus": crc16_modbus}


def _agree(body: bytes, value: int, digits: bytes, width: int) -> bytes:
    expected = f"{value:0{width}X}"
    given = digits.strip().decode("latin-1").upper()
    if given != expected:
        raise ParseError(
            "bad checksum",
            said("line says {given!r}, bytes give {expected}", given=given, expected=expected),
        )
    return body
