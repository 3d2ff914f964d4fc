"""Writes protocol/SPEC.md from the tables: `python -m tests.interpreter.make_spec`."""

import textwrap
from pathlib import Path
from typing import Any

from rimward.kernels.fingerprint import kernel_hash
from rimward_protocol import canonical, causes, codes, enumerations, frame, layout, messages, profile, replies, session, tables
from rimward_protocol.mac import TAG_BYTES

PLACE = Path(__file__).parents[2] / "protocol" / "SPEC.md"
HASH_PLACE = PLACE.parent / "rimward_protocol" / "layouthash.py"
ROWS_PLACE = PLACE.parent / "rimward_protocol" / "rows.py"
LINKROWS_PLACE = PLACE.parent / "rimward_protocol" / "linkrows.py"
KERNELS_PLACE = PLACE.parents[1] / "firmware" / "rimward_fw" / "kernelhash.py"
WRITTEN = "Written by `python -m tests.interpreter.make_spec` from the tables."
CELL = 13  # characters a byte takes in a drawing
ROW = 8  # bytes in a row of a drawing

INTRO = """# Records and frames, byte by byte

Written from the tables in `rimward_protocol` by `python -m tests.interpreter.make_spec`; a test fails when this page is not
current. All numbers are little-endian, signed ones two's complement, without gaps between fields. A code is one of
`B` `b` `H` `h` `I` `i` (unsigned and signed, 1, 2 and 4 bytes) or `Ns`, N bytes; `*` is the rest of the record. In a drawing each row
is eight bytes; a field that goes on in the next row is drawn there again with `..` before its name.

Check codes are CRC-32 (polynomial 0x04C11DB7 reflected, start and final XOR all ones; of `123456789` 0xCBF43926). Tags are the first
{tag} bytes of HMAC-SHA-256.

Layout hash: `{hash}`: a serial number that every change of a layout counts one up (two bytes, the high one first), then the first 6 bytes of
SHA-256 over the canonical text, which is every table and number below with the settings' formats and the kernels' words. Host and inflator
exchange it at hello. If it or the protocol version differs, both refuse; the lower number is the side to update.
Messages HELLO, HELLO_IS and ERROR keep their layout in every version, so that this can always be said.
"""

LINE_OF = '''

def line_of(text, number):
    """What stands behind a number in one of the texts above; None if it is not there."""
    begin = "\\n" + str(number) + " "
    at = text.find(begin)
    return None if at < 0 else text[at + len(begin) : text.find("\\n", at + 1)]
'''

FRAME_TEXT = """## Frames

On the wire a frame is COBS (Cheshire and Baker, IEEE/ACM Transactions on Networking 7(2), 1999) of the bytes below, then one
zero byte. More zero bytes between frames mean nothing; a sender puts one first to end whatever noise came before. A receiver drops
what fails its stuffing, length or check code, and goes on with the next zero.

| offset | field | code | meaning |
| --- | --- | --- | --- |
| 0 | version | B | protocol version |
| 1 | kind | B | MESSAGES |
| 2 | sequence | H | a reply carries its request's; pushes count their own |
| 4 | payload | * | 0 to {max} bytes |
| 4 + n | crc | I | CRC-32 over all bytes before it |
"""

SESSION_TEXT = """## Session log v1

A log is the header and then blocks. A block is a block header, its payload, a CRC-32 over both, and, when bit 0 of its flags is set, a
16-byte MAC: the tag, under the workshop key, over the MAC before it and this block's bytes up to its CRC. The first block's
MAC is chained to the tag of the log's header. Payloads are at most {max} bytes, so that a block also fits one frame.
A reader takes blocks up to the first that is torn, damaged or out of order, and says so.

A *span* is a snapshot of all four arrays at tick T and the FAST blocks from T on without a gap; it replays exactly. Between spans there is
only TRACE. Inputs in a FAST block hold from the tick they stand at; those not restated are as before, at first as in the snapshot.

Columns of a FAST block, A, B, LOAD, GAP in this order, give ticks 2 to n of the block:

| coding | bytes | meaning |
| --- | --- | --- |
| 0 | 0 | every tick as the first |
| 1 | n / 2, rounded down | deltas -8 to 7, two a byte, the earlier in the low half |
| 2 | n - 1 | deltas, i8 |
| 3 | 2 (n - 1) | deltas, i16 |
| 4 | 4 (n - 1) | the values themselves, i32 |
"""


def drawing(table: Any) -> str:
    """The bytes of a table, eight a row."""
    cells = [name for name, code, _unit, _meaning in table for _ in range(layout.field_bytes(code))]
    firsts = {layout.offset(table, row[0]) for row in table}
    lines = ["```text", "      " + "".join(f"+{i}".ljust(CELL) for i in range(ROW)).rstrip()]
    for row in range(0, len(cells), ROW):
        line, at = f"{row:4}  ", row
        stop = min(row + ROW, len(cells))
        while at < stop:
            after = at + 1
            while after < stop and cells[after] == cells[at] and after not in firsts:
                after += 1
            width = (after - at) * CELL
            text = cells[at] if at in firsts else ".." + cells[at]
            line += "|" + short(text, width - 1).ljust(width - 1)
            at = after
        lines.append(line + "|")
    if layout.has_tail(table):
        lines.append(f"{len(cells):4}  |{table[-1][0]} ...")
    return "\n".join([*lines, "```"])


def short(text: str, width: int) -> str:
    """A name cut to a cell; the table below the drawing has it whole."""
    return text if len(text) <= width else text[: width - 1] + "~"


def fields(table: Any) -> str:
    """The rows of a table in words."""
    lines = ["| offset | field | code | unit | meaning |", "| --- | --- | --- | --- | --- |"]
    at = 0
    for name, code, unit, meaning in table:
        lines.append(f"| {at} | {name} | {code} | {unit} | {meaning} |".replace("  ", " "))
        at += layout.field_bytes(code)
    return "\n".join(lines)


def record(title: str, table: Any, level: str = "###") -> str:
    """Drawing and table of one record."""
    if not table:
        return f"{level} {title}\n\nNo payload.\n"
    length = f"{layout.size(table)} bytes" + (" and the rest" if layout.has_tail(table) else "")
    return f"{level} {title}\n\n{length}.\n\n{drawing(table)}\n\n{fields(table)}\n"


def bounds() -> str:
    """What the profile check lets pass, from its own table."""
    lines = ["| field | lowest | highest | else |", "| --- | --- | --- | --- |"]
    for index, low, high, code in profile.BOUNDS:
        lines.append(f"| {layout.PROFILE[index][0]} | {low} | {high} | {replies.row_of(code)[1]} |")
    return "\n".join(lines)


PROFILE_TEXT = """The check looks at length, magic, version and check code, then at the bounds below, then: wheel id not
all zero; label of 1 to 16 letters in at most 24 bytes of UTF-8 without control characters; rim inner width 0 or 80 to 1300; volume_low_ml <= volume_ml <= 2 volume_low_ml; ceiling_pa <= limit_pa
and <= 900000; on rims of class SS, TSS or unknown limit_pa <= 500000; 20000 <= target_pa <= ceiling_pa; seat_pause_pa <= ceiling_pa.
The first that fails is the code. An ordinary inflator refuses a profile with the bench flag; a proof bench refuses one without, and
bounds ceiling_pa by 1500000 instead of limit and rig. Only a tag of the enrolled key counts; with no key enrolled there is the built-in profile alone.
"""


PRESET_TEXT = """A preset carries no limit. Each end names its wheel, the issue number of the profile that its target was checked against, and the
target. The check looks at length, magic, version and check code (else preset-record), at the wheels (not all zero, not the same; else
preset-wheels), then at the rest (else preset-value): issue numbers as in a profile, targets 20000 to 2000000, known flags, temperature and
ambient pressure as in a profile, rider as a profile's label. Only a preset with a tag of the enrolled key is taken.

The display has the printable letters of ASCII. It shows U+00C0 to U+00FF without their accents and every other letter as `?`.

An issue number goes with the minutes since 2020-01-01 and is higher than the last one made by the same workshop. An inflator takes a profile
only if its issue number is higher than the last one of that wheel, and, for a wheel that its table does not hold, higher than the floor: when
the table of 200 wheels is full, the wheel with the lowest number makes way and the floor rises to that number. A number more than {far}
above every one seen is taken only after a person's yes. Another key changes none of this.
"""


def numbers() -> str:
    """Every number with its word and, where there is more to say, that."""
    parts = []
    for title, rows in canonical.number_tables():
        if title in ("CAUSES", "REPLIES"):
            continue
        lines = [f"### {title}\n", "| number | word | |", "| --- | --- | --- |"]
        lines += [f"| {row[0]} | {row[1]} | {'; '.join(part(p) for p in row[2:])} |" for row in rows]
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def part(value: Any) -> str:
    return f"`{value}`" if str(value).startswith("<") else str(value)


def told(title: str, rows: Any, first: str, second: str, latched: bool = False) -> str:
    """Causes or replies with their two sentences."""
    lines = [f"### {title}\n", f"| number | word | {first} | {second} |" + (" latched |" if latched else "")]
    lines.append("| --- | --- | --- | --- |" + (" --- |" if latched else ""))
    for number, word, one, two in rows:
        mark = (" yes |" if causes.is_latched(number) else " |") if latched else ""
        lines.append(f"| {number} | {word} | {one} | {two} |{mark}")
    return "\n".join(lines) + "\n"


def message(row: Any) -> str:
    number, word, table, answers = row
    text = record(f"0x{number:02X} {word}", table)
    if answers:
        names = " or ".join(next(r[1] for r in messages.PAYLOADS if r[0] == answer) for answer in answers)
        text += f"\nAnswered by {names}, or ERROR.\n"
    return text


def spec() -> str:
    """The whole page."""
    parts = [
        INTRO.format(hash=hash_of_file(), tag=TAG_BYTES),
        record("Profile v2", layout.PROFILE, "##"),
        PROFILE_TEXT,
        bounds() + "\n",
        record("Preset v1", layout.PRESET, "##"),
        PRESET_TEXT.format(far=codes.ISSUE_FAR),
        FRAME_TEXT.format(max=frame.MAX_PAYLOAD),
        SESSION_TEXT.format(max=session.MAX_PAYLOAD),
        record("Header", layout.SESSION_HEADER),
        record("Block header", tables.BLOCK_HEADER),
        *(record(f"Block {number}: {word}", table) for number, word, table in tables.BLOCKS),
        record("Change record of a FAST block", tables.CHANGE),
        record("Record of a TRACE block", layout.TRACE_RECORD),
        "## Messages\n\nNothing here can start the pump, raise a ceiling or confirm a bead.\n",
        *(message(row) for row in messages.PAYLOADS),
        "## Numbers\n",
        numbers(),
        told("CAUSES", enumerations.CAUSES, "likely reason", "next step", latched=True),
        told("REPLIES", replies.REPLIES, "what happened", "what to do"),
    ]
    return "\n".join(parts)


def hash_of_file() -> str:
    """The layout hash as it is written, which `main` may have renewed just now."""
    return hash_text().split('"')[-2]


def hash_text() -> str:
    """The module that carries the layout hash to a device, which does not keep the tables it is taken over."""
    kept, now = layout.layout_hash(), canonical.computed_hash()
    serial = int.from_bytes(kept[:2], "big") + (0 if kept == now else 1)  # every change of a layout counts one up: so the older side is known
    return (
        '"""Written by `python -m tests.interpreter.make_spec`; a test on every interpreter holds it against `canonical`."""\n\n'
        f'from binascii import unhexlify\n\nLAYOUT_HASH = unhexlify("{serial:04x}{now[2:].hex()}")\n'
    )


def kernels_text() -> str:
    """The module that carries the kernels' hashes to a device, which has only their machine code."""
    return (
        f'"""Which kernels decide: taken over their normalised source, limits and words (`rimward.kernels.fingerprint`). {WRITTEN}"""\n\n'
        f'from binascii import unhexlify\n\nKERNEL_HASH = unhexlify("{kernel_hash().hex()}")\n'
        f'BENCH_KERNEL_HASH = unhexlify("{kernel_hash(bench=True).hex()}")\n'
    )


def rows_text() -> str:
    """The module that carries the record layouts to a device: names and codes only, in one text each."""
    told = f'"""Layouts as a device keeps them, names and codes. {WRITTEN}"""\n'
    for name in ("PROFILE", "PRESET", "SESSION_HEADER", "TRACE", "TRACE_RECORD", "EVENT", "END"):
        told += f"\n{name} = (\n{_wrapped(_pairs(getattr(tables, name)) + ' ')})\n"
    return told


def linkrows_text() -> str:
    """The same for what only a conversation needs: messages and settings."""
    told = f'"""Message payloads and settings as a device loads them for a conversation. {WRITTEN}"""\n'
    lines = [f"{number} {_pairs(table)}" for number, _word, table, _replies in messages.PAYLOADS]
    told += "\n# number, then its payload\nMESSAGES = (\n    \"\\n\"\n" + "".join(_wrapped(line + "\\n") for line in lines) + ")\n"
    lines = [f"{row[0]} {row[2]} {row[3]}" for row in enumerations.SETTINGS]
    told += "\n# number, format, who may change it\nSETTINGS = (\n    \"\\n\"\n" + "".join(_wrapped(line + "\\n") for line in lines) + ")\n"
    return told + LINE_OF


def _pairs(table: Any) -> str:
    return " ".join(f"{row[0]} {row[1]}" for row in table)


def _wrapped(text: str) -> str:
    """A string literal in pieces of one line each."""
    return "".join(f'    "{part}"\n' for part in textwrap.wrap(text, 120, drop_whitespace=False))


def main() -> None:
    HASH_PLACE.write_text(hash_text())
    PLACE.write_text(spec())
    ROWS_PLACE.write_text(rows_text())
    LINKROWS_PLACE.write_text(linkrows_text())
    KERNELS_PLACE.write_text(kernels_text())
    print("wrote protocol/SPEC.md, protocol/rimward_protocol/layouthash.py, rows.py, linkrows.py, firmware/rimward_fw/kernelhash.py")


if __name__ == "__main__":
    main()
