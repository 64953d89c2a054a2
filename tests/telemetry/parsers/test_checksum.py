"""Checksums against published values and an independent library."""

from __future__ import annotations

import pytest
from crccheck.crc import Crc16CcittFalse, Crc16Modbus
from hypothesis import given
from hypothesis import strategies as st

from telemetry.errors import ParseError
from telemetry.parsers.checksum import crc16_ccitt_false, crc16_modbus, make_check, xor_of


def test_crcs_give_the_check_values_of_the_crc_catalogue() -> None:
    # Catalogue of parametrised CRC algorithms, "check" of ASCII 123456789.
    assert crc16_ccitt_false(b"123456789") == 0x29B1
    assert crc16_modbus(b"123456789") == 0x4B37


def test_modbus_frames_of_the_serial_line_specification() -> None:
    # Modbus over serial line: 01 03 00 00 00 0A is followed by C5 CD, low byte first, so CDC5.
    assert crc16_modbus(bytes.fromhex("01030000000A")) == 0xCDC5
    assert crc16_modbus(bytes.fromhex("1103006B0003")) == 0x8776


@given(st.binary(max_size=200))
def test_crcs_agree_with_crccheck(data: bytes) -> None:
    assert crc16_ccitt_false(data) == Crc16CcittFalse.calc(data)
    assert crc16_modbus(data) == Crc16Modbus.calc(data)


@pytest.mark.parametrize(
    ("line", "value"),
    [  # sentences in common use as examples of this checksum, after IEC 61162-1
        (b"GPGLL,5300.97914,N,00259.98174,E,125926,A", 0x28),
        (b"GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", 0x47),
        (b"GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W", 0x6A),
    ],
)
def test_xor_of_example_sentences(line: bytes, value: int) -> None:
    assert xor_of(line) == value
    check = make_check("xor", ",")
    assert check is not None
    assert check(b"$%s*%02X" % (line, value)) == line
    assert check(b"%s*%02x" % (line, value)) == line


@pytest.mark.parametrize("kind", ["xor", "crc16-ccitt-false", "crc16-modbus"])
def test_any_changed_bit_is_noticed(kind: str) -> None:
    check = make_check(kind, ",")
    assert check is not None
    body = b"1,2026-03-02T16:00:00Z,ARC ON"
    digits = {
        "xor": b"*%02X" % xor_of(body),
        "crc16-ccitt-false": b",%04X" % Crc16CcittFalse.calc(body),
        "crc16-modbus": b",%04X" % Crc16Modbus.calc(body),
    }[kind]
    assert check(body + digits) == body
    for place in range(len(body)):
        for bit in range(8):
            changed = bytearray(body)
            changed[place] ^= 1 << bit
            if changed[:1] == b"$":
                continue  # the mark is dropped before the sum, by the rule
            with pytest.raises(ParseError, match="line says"):
                check(bytes(changed) + digits)


@pytest.mark.parametrize("kind", ["xor", "crc16-modbus"])
@pytest.mark.parametrize("line", [b"", b"*", b",", b"1,2*", b"1*G0", b"1,2*123", b"1,\xff\xfe"])
def test_missing_or_crippled_digits_are_refused(kind: str, line: bytes) -> None:
    check = make_check(kind, ",")
    assert check is not None
    with pytest.raises(ParseError) as caught:
        check(line)
    assert caught.value.reason in ("no checksum", "bad checksum")
