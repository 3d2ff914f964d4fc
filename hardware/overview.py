"""Two overview pictures: how power reaches everything, and everything that stops the air.

Boxes lie on a grid; every line between two parts of the circuit names the net that joins them, and drawing fails where the data differ.
Figures in the boxes come from the data or the calculations.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from hardware import cutoff, gate
from hardware.circuit import Part, load
from hardware.params import PARAMS
from hardware.pneumatic import Sheet

WIDE, HIGH, STEP_X, STEP_Y, LEFT, TOP = 132, 46, 204, 82, 24, 92
TURN = 14  # where a branch leaves, in front of the next box: a net's name ends before it


@dataclass(frozen=True)
class Box:
    """One box: its place on the grid and the text below its name; a name with `:` is one side of a part."""

    name: str
    column: float
    row: float
    words: str

    @property
    def ref(self) -> str:
        """Reference of the part."""
        return self.name.partition(":")[0]

    @property
    def x(self) -> float:
        """Left edge."""
        return LEFT + self.column * STEP_X

    @property
    def y(self) -> float:
        """Upper edge."""
        return TOP + self.row * STEP_Y


# A line: from, to, net ("" for a link without wire: air, a hand, a lead outside the board).
Line = tuple[str, str, str]


def power_boxes(parts: dict[str, Part]) -> list[Box]:
    """Boxes of the power picture."""

    def value(ref: str) -> str:
        return parts[ref].value

    return [
        Box("battery", 0, 0, "10.5 to 14.5 V"),
        Box("F0", 1, 0, "30 A, at the battery"),
        Box("SW1", 2, 0, "main switch"),
        Box("J1", 3, 0, "terminals"),
        Box("F1", 4, 0, f"main fuse {value('F1')}"),
        Box("K1:contact", 5, 0, "relay contact, 30 A"),
        Box("J2", 6, 0, "motor, or valves"),
        Box("M1", 7, 0, f"{value('M1')}, HS1"),
        Box("D1", 5, 1, "surge; reversed supply"),
        Box("C1", 6, 1, f"{value('C1')}F, motor steps"),
        Box("D7", 7, 1, "across the motor"),
        Box("D6", 0, 2, "not when reversed"),
        Box("F4", 1, 2, f"coils {value('F4')}"),
        Box("S1", 2, 2, "hold to run"),
        Box("Q5", 3, 2, "cutoff's switch"),
        Box("K1:coil", 4, 2, "relay coil"),
        Box("Q6", 5, 2, "firmware's switch"),
        Box("D31", 4, 3, "feed of M1's gate"),
        Box("Q2", 5, 3, "driver"),
        Box("R9", 6, 3, "to M1's gate"),
        Box("Q8", 3, 4, "cutoff's switch"),
        Box("J4", 4, 4, "vent coil"),
        Box("Q9", 5, 4, "firmware's switch"),
        Box("F3", 1, 5, f"cutoff {value('F3')}"),
        Box("R49", 2, 5, f"{value('R49')} ohm"),
        Box("U5", 3, 5, "5 V, cutoff alone"),
        Box("J5", 4, 5, "transducer C"),
        Box("U4", 5, 5, "comparator"),
        Box("D22", 6, 5, "if U5 shorts"),
        Box("F2", 1, 6, f"logic {value('F2')}"),
        Box("U3", 2, 6, "5 V, sensors"),
        Box("J6", 3, 6, "transducer A"),
        Box("J7", 4, 6, "transducer B"),
        Box("U6", 5, 6, "converter's reference"),
        Box("U2", 2, 7, "5 V, logic"),
        Box("D2", 3, 7, "USB feeds U1 alone"),
        Box("U1", 4, 7, "processor, 3.3 V"),
        Box("U9", 5, 7, "second converter"),
        Box("U8", 3, 8, "3.0 V, analog"),
        Box("U6:supply", 4, 8, "converter"),
    ]


POWER: tuple[Line, ...] = (
    ("battery", "F0", ""),
    ("F0", "SW1", ""),
    ("SW1", "J1", ""),
    ("J1", "F1", "V12_RAW"),
    ("F1", "K1:contact", "V12"),
    ("K1:contact", "J2", "PUMP_P"),
    ("J2", "M1", "PUMP_N"),
    ("F1", "D1", "V12"),
    ("D1", "C1", "V12"),
    ("M1", "D7", "PUMP_N"),
    ("F1", "D6", "V12"),
    ("D6", "F4", "V12_AUX"),
    ("F4", "S1", "V12_COIL"),
    ("S1", "Q5", "V12_RUN"),
    ("Q5", "K1:coil", "COIL_P"),
    ("K1:coil", "Q6", "COIL_N"),
    ("Q5", "D31", "COIL_P"),
    ("D31", "Q2", "V12_GATE"),
    ("Q2", "R9", "Q2_C"),
    ("F4", "Q8", "V12_COIL"),
    ("Q8", "J4", "VENT_P"),
    ("J4", "Q9", "VENT_N"),
    ("D6", "F3", "V12_AUX"),
    ("F3", "R49", "V12_CUT"),
    ("R49", "U5", "V12_REG"),
    ("U5", "J5", "V5_CUT"),
    ("J5", "U4", "V5_CUT"),
    ("U4", "D22", "V5_CUT"),
    ("D6", "F2", "V12_AUX"),
    ("F2", "U3", "V12_LOGIC"),
    ("U3", "J6", "V5_SENS"),
    ("J6", "J7", "V5_SENS"),
    ("J7", "U6", "V5_SENS"),
    ("F2", "U2", "V12_LOGIC"),
    ("U2", "D2", "V5"),
    ("D2", "U1", "VSYS"),
    ("U1", "U9", "V3V3"),
    ("U2", "U8", "V5"),
    ("U8", "U6:supply", "VA"),
)


def bar(pa: float) -> str:
    """Format Pa as bar."""
    return f"{pa / 1e5:.2f}"


def stop_boxes(parts: dict[str, Part]) -> list[Box]:
    """Boxes of the stop picture."""
    times, low, high = gate.report(), cutoff.band(False), cutoff.band(True)
    relief = PARAMS["relief_low"], PARAMS["relief_high"]
    return [
        Box("hand", 0, 0, "releases"),
        Box("S1", 1, 0, "hold to run"),
        Box("Q5", 5, 0, "cutoff's switch"),
        Box("K1:coil", 6, 0, f"drops in {times['relay_max_ms']:.1f} ms"),
        Box("K1:contact", 7, 0, "first element"),
        Box("S3", 0, 1, "range key"),
        Box("R40", 2, 1, "high = consent"),
        Box("Q4", 3, 1, "consent to the relay"),
        Box("R13", 4, 1, "pulls Q5 on"),
        Box("D31", 6, 1, "feeds M1's gate"),
        Box("Q2", 7, 1, "driver"),
        Box("M1", 7, 2, "second element"),
        Box("J5", 0, 2, "transducer C"),
        Box("U4", 1, 2, "comparator"),
        Box("R98", 2, 2, "high = consent"),
        Box("Q13", 3, 2, "consent to the vent"),
        Box("R18", 4, 2, "pulls Q8 on"),
        Box("Q8", 5, 2, "cutoff's switch"),
        Box("Q12", 1, 3, "latch until 12 V is off"),
        Box("J4", 5, 3, "vent coil"),
        Box("SV3", 6, 3, "vent: open at rest"),
        Box("U9", 2, 4, "C against A and B"),
        Box("U1:reads", 3, 4, "no air when they differ"),
        Box("J6", 0, 5, "transducer A"),
        Box("U6", 1, 5, "converter"),
        Box("U1", 2, 5, "guard, every 2 ms"),
        Box("C10", 3, 5, "passes pulses only"),
        Box("Q3", 4, 5, "tops up C12"),
        Box("C12", 5, 5, f"empty in {times['gate_max_ms']:.1f} ms"),
        Box("Q1", 6, 5, "on while C12 is full"),
        Box("J7", 0, 6, "transducer B"),
        Box("R56", 1, 6, "divider 0.6"),
        Box("R14", 3, 6, "RELAY pin"),
        Box("Q6", 4, 6, "firmware's switch"),
        Box("K1:coil, low side", 5, 6, "drops the relay too"),
        Box("R19", 3, 7, "VENT pin"),
        Box("Q9", 4, 7, "firmware's switch"),
        Box("J4:low side", 5, 7, "opens the vent too"),
        Box("cutoff", 0, 8, f"low {bar(low[0])} to {bar(low[2])} bar"),
        Box("cutoff, high", 1, 8, f"{bar(high[0])} to {bar(high[2])} bar"),
        Box("V5", 3, 8, "low range: opens"),
        Box("RV1", 4, 8, f"{bar(relief[0].low)} to {bar(relief[0].high)} bar"),
        Box("RV2", 5, 8, f"{bar(relief[1].low)} to {bar(relief[1].high)} bar"),
    ]


STOP: tuple[Line, ...] = (
    ("hand", "S1", ""),
    ("S1", "Q5", "V12_RUN"),
    ("Q5", "K1:coil", "COIL_P"),
    ("K1:coil", "K1:contact", ""),
    ("Q5", "D31", "COIL_P"),
    ("D31", "Q2", "V12_GATE"),
    ("Q2", "M1", ""),
    ("J6", "U6", ""),
    ("U6", "U1", "SPI_MISO"),
    ("J7", "R56", "SIG_B_RAW"),
    ("R56", "U1", "ADC_B"),
    ("U1", "C10", "GATE"),
    ("C10", "Q3", ""),
    ("Q3", "C12", ""),
    ("C12", "Q1", ""),
    ("Q1", "Q2", ""),
    ("U1", "R14", "RELAY"),
    ("R14", "Q6", "Q6_G"),
    ("Q6", "K1:coil, low side", "COIL_N"),
    ("U1", "R19", "VENT"),
    ("R19", "Q9", "Q9_G"),
    ("Q9", "J4:low side", "VENT_N"),
    ("J4", "SV3", ""),
    ("J5", "U4", ""),
    ("U4", "R40", "CUT_HI"),
    ("R40", "Q4", "Q4_B"),
    ("Q4", "R13", "Q5_PULL"),
    ("R13", "Q5", "Q5_G"),
    ("U4", "R98", "CUT_HI"),
    ("R98", "Q13", "Q13_B"),
    ("Q13", "R18", "Q8_PULL"),
    ("R18", "Q8", "Q8_G"),
    ("Q8", "J4", "VENT_P"),
    ("Q12", "U4", "REF"),
    ("S3", "U4", ""),
    ("U4", "U9", ""),
    ("U9", "U1:reads", "BARO_SDA"),
    ("V5", "RV1", ""),
)


class Unjoined(ValueError):
    """A line names a net that its two parts do not share."""


def checked(boxes: Iterable[Box], lines: Iterable[Line], parts: dict[str, Part]) -> None:
    """Raise Unjoined where a line's net is not on both its parts, KeyError for an unknown box."""
    by_name = {b.name: b for b in boxes}
    for a, b, net in lines:
        ends = [by_name[n].ref for n in (a, b)]
        if net and not all(ref not in parts or net in parts[ref].pins.values() for ref in ends):
            raise Unjoined(f"{a} and {b} do not share {net}")


def joined(sheet: Sheet, a: Box, b: Box, net: str) -> None:
    """Draw a line from the right of one box to the left of the next, or around by its top or bottom."""
    if a.x == b.x:
        up = b.y < a.y
        sheet.arrow(
            a.x + WIDE / 2, a.y if up else a.y + HIGH, b.x + WIDE / 2, b.y + HIGH if up else b.y
        )
        return
    ay, by = a.y + HIGH / 2, b.y + HIGH / 2
    if b.x < a.x:
        lane = b.y - 18 if b.y > a.y else b.y + HIGH + 18
        sheet.line(
            (a.x + WIDE / 2, a.y + HIGH if b.y > a.y else a.y),
            (a.x + WIDE / 2, lane),
            (b.x + WIDE / 2, lane),
        )
        sheet.arrow(b.x + WIDE / 2, lane, b.x + WIDE / 2, b.y if b.y > a.y else b.y + HIGH)
        sheet.text(a.x + WIDE / 2 - 40, lane - 5, net, 8, "middle")
    elif ay == by:
        sheet.arrow(a.x + WIDE, ay, b.x, by)
        sheet.text(a.x + WIDE + (STEP_X - WIDE - TURN) / 2, ay - 5, net, 8, "middle")
    elif b.column > a.column + 1:
        sheet.line((a.x + WIDE / 2, a.y + HIGH if b.y > a.y else a.y), (a.x + WIDE / 2, by))
        sheet.arrow(a.x + WIDE / 2, by, b.x, by)
        sheet.text(b.x - TURN, by - 5, net, 8, "end")
    else:
        turn = b.x - TURN
        sheet.line((a.x + WIDE, ay), (turn, ay), (turn, by))
        sheet.arrow(turn, by, b.x, by)


def picture(
    title: str,
    notes: tuple[str, ...],
    boxes: list[Box],
    lines: Iterable[Line],
    parts: dict[str, Part],
) -> str:
    """Return SVG text. Unjoined or KeyError where lines and data differ."""
    checked(boxes, lines, parts)
    sheet = Sheet()
    sheet.text(LEFT, 30, title, 18, bold=True)
    for i, note in enumerate(notes):
        sheet.text(LEFT, 50 + 15 * i, note, 11)
    by_name = {b.name: b for b in boxes}
    for a, b, net in lines:
        joined(sheet, by_name[a], by_name[b], net)
    for box in boxes:
        sheet.items.append(
            f'<rect x="{box.x:g}" y="{box.y:g}" width="{WIDE}" height="{HIGH}" fill="white" stroke="black" stroke-width="1.6"/>'
        )
        sheet.text(box.x + WIDE / 2, box.y + 19, box.name.replace(":", " "), 13, "middle", True)
        sheet.text(box.x + WIDE / 2, box.y + 36, box.words, 10, "middle")
    wide = max(b.x for b in boxes) + WIDE + LEFT
    high = max(b.y for b in boxes) + HIGH + 30
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}" height="{high:g}" viewBox="0 0 {wide:g} {high:g}">'
    return (
        head
        + f'<rect width="{wide:g}" height="{high:g}" fill="white"/>'
        + "\n".join(sheet.items)
        + "</svg>\n"
    )


def power_chain() -> str:
    """Return the power picture as SVG text."""
    parts = load()
    return picture(
        "Power chain",
        (
            "Each line is the net that joins two parts. Returns: PGND motor and coils, GND logic, SGND A and B, CGND cutoff; star point NT1 to NT3 at J1.",
        ),
        power_boxes(parts),
        POWER,
        parts,
    )


def stop_chain() -> str:
    """Return the stop picture as SVG text."""
    parts = load()
    return picture(
        "Stop chain",
        (
            "Hand, firmware and independent cutoff each drop both elements; firmware and cutoff open the vent as well; the relief valves act by themselves.",
        ),
        stop_boxes(parts),
        STOP,
        parts,
    )
