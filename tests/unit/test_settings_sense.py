"""Settings are checked for sense, not for length: a calibration that no transducer can have never reaches the guard."""

import struct

import pytest
from rimward_fw.control import configuration
from rimward_fw.control.sense import RANGES, sense
from rimward_protocol import enumerations, replies

GOOD = {
    1: struct.pack("<iiIiH", 65536, 0, 2500, 300, 7), 2: struct.pack("<iiIiH", 66000, -1200, 2500, 0, 0), 3: struct.pack("<iI", 12_000, 2500),
    4: struct.pack("<i", -120), 5: struct.pack("<BII", 1, 0, 800_000), 6: struct.pack("<h", -50), 7: b"Stand 1".ljust(24, b"\0"), 8: b"\1", 9: b"\0",
    12: b"\0", 20: struct.pack("<BI", 2, 2500), 21: struct.pack("<H", 400), 22: struct.pack("<BIiH", 0, 2500, -1, 0),
}  # fmt: skip


def test_every_setting_of_the_protocol_has_a_sense() -> None:
    known = {row[0] for row in enumerations.SETTINGS}
    assert known == set(RANGES) | {7} == set(GOOD)
    for number, value in GOOD.items():
        assert sense(number, value) == replies.OK, number
        assert sense(number, value + b"\0") == sense(number, value[:-1]) == replies.SETTING_VALUE, (
            number
        )
    assert sense(99, b"") == replies.SETTING_UNKNOWN


@pytest.mark.parametrize(
    ("number", "value"),
    [
        (1, bytes(18)),  # trips at idle
        (1, struct.pack("<iiIiH", 65536 * 2, 0, 2500, 0, 0)),
        (1, struct.pack("<iiIiH", 62_259, 0, 2500, 0, 0)),
        (2, struct.pack("<iiIiH", 68_813, 0, 2500, 0, 0)),
        (2, struct.pack("<iiIiH", 65536, 50_001, 2500, 0, 0)),
        (2, struct.pack("<iiIiH", 65536, 0, 0, 0, 0)),
        (2, struct.pack("<iiIiH", 65536, 0, 2500, -1, 0)),
        (3, struct.pack("<iI", 999, 2500)),
        (3, struct.pack("<iI", -1, 2500)),
        (3, struct.pack("<iI", 12_000, 40_000)),
        (4, struct.pack("<i", 5_001)),
        (5, struct.pack("<BII", 2, 0, 0)),
        (5, struct.pack("<BII", 0, 9_999, 0)),
        (5, struct.pack("<BII", 0, 60_001, 0)),
        (5, struct.pack("<BII", 1, 0, 399_999)),
        (5, struct.pack("<BII", 1, 0, 1_000_001)),
        (6, struct.pack("<h", 1_001)),
        (7, b"\xff" * 24),
        (7, b"seventeen letters".ljust(24, b"\0")),
        (8, b"\2"),
        (12, b"\2"),
    ],
)
def test_values_without_sense_are_refused(number: int, value: bytes) -> None:
    assert sense(number, value) == replies.SETTING_VALUE


def test_the_stated_source_is_what_arming_counts_on() -> None:
    plain = configuration.HARDWARE[configuration.COMPRESSOR]
    assert (
        configuration.source(b"") is plain
        and configuration.source(struct.pack("<BII", 0, 0, 0)) is plain
    )
    assert (
        configuration.source(struct.pack("<BII", 0, 30_000, 0))["delivery"]
        == plain["delivery"]
        == 64
    )
    assert configuration.source(struct.pack("<BII", 0, 37_500, 0))["delivery"] == 80
    line = configuration.source(struct.pack("<BII", 1, 0, 700_000))
    assert (line["kind"], line["supply_pa"]) == (
        configuration.LINE,
        700_000,
    ) and configuration.HARDWARE[1]["supply_pa"] == 900_000
