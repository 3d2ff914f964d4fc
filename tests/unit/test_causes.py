"""Every stop has one cause, one word and a next step, the same on device, log and host (G9)."""

import re

from rimward.kernels.assemble import assemble
from rimward_protocol import causes, enumerations

ROWS = {row[0]: row for row in enumerations.CAUSES}


def numbers_in(kernel):
    """Cause numbers that a kernel can record, read from its source."""
    text = assemble(f"rimward_fw.kernels.{kernel}")
    named = {
        name[1:]: int(value)
        for name, value in re.findall(r"^(_[A-Z_0-9]+) = const\((\d+)\)", text, re.M)
    }
    by_name = {
        value for name, value in named.items() if vars(causes).get(name) == value and name.isupper()
    }
    written = re.findall(r"(?:f\[_REASON\] = |_stop\(f, |\breason = )(\d+)", text)
    return by_name | {int(number) for number in written}


def test_one_word_everywhere():
    words = [row[1] for row in enumerations.CAUSES]
    assert len(set(words)) == len(words)
    for row in enumerations.CAUSES:
        assert re.fullmatch(r"[a-z][a-z0-9-]+", row[1])
        assert len(row[2]) > 8 and len(row[3]) > 8, (
            f"{row[1]} needs a likely reason and a next step"
        )


def test_every_number_a_kernel_records_has_its_row():
    found = numbers_in("guard") | numbers_in("fill")
    assert {
        2,
        4,
        5,
        7,
        16,
        17,
        18,
        19,
        20,
        21,
        22,
        23,
        24,
        25,
        26,
        27,
        30,
        31,
        32,
        33,
        48,
        49,
        50,
        51,
        52,
        65,
    } <= found
    assert found <= set(ROWS)


def test_latched_causes_are_those_of_the_guard():
    assert all(causes.is_latched(n) == (16 <= n <= 47) for n in ROWS)
