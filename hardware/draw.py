"""Schematic sheets drawn from the circuit data: a strip names parts in the order in which they are joined; drawing fails where they are
not.

Tokens of a strip: NET (where it starts), PART (in series), /PART (down from the node), ^PART (up from the node), Q.PIN (a transistor whose
control pin sits on the node), %PART (a pair of clamp diodes), #PART (a box with a net name at every pin), | (next strip in the row).
"""

from pathlib import Path
from typing import Any

import schemdraw
import schemdraw.elements as elm

from hardware.circuit import GROUNDS, SHEET_TITLES, SHEETS, Part, load

schemdraw.use("svg")

LAYOUT: dict[str, tuple[str, ...]] = {
    "power": (
        "#J1 | V12_RAW F1 /D1 /C1 D6 | V12_AUX F2 /C2",
        "V12_AUX F3 R49 /C5 | V12_AUX F4 | #U2 | V5 /C3 D2",
        "#U3 | V5_SENS /C4 | #U5 | V5_CUT /C6 /D22",
        "#U8 | VA /C7 | PGND NT1 | PGND NT2 | PGND NT3",
    ),
    "air": (
        "GATE /R2 C10 C11 R1 ^R26 ^D3 Q3.B",
        "Q3_C R27 /C12 /R3 /R4 R5 /R6 Q1.B",
        "Q1_C R7 ^R8 Q2.B | Q2_C R9 /R10 /R11 /D5 M1.G",
        "#K1 | #J2 | PUMP_N D7 | PUMP_N /D8 | PUMP_P /D23",
    ),
    "coils": (
        "V12_COIL S1 | Q5_PULL R13 ^R12 ^R28 Q5.G",
        "RELAY R14 /R15 /R16 Q6.G | COIL_N D9 D10 | COIL_P D31",
        "Q8_PULL R18 ^R17 ^R29 Q8.G | #J4",
        "VENT R19 /R20 /R21 Q9.G | VENT_N D11 D12",
        "VENT_P R22 /R23 %D13 | V12_RUN R24 /R25 %D17",
    ),
    "cutoff": (
        "#J5 | SIG_C_RAW /R30 R34 /C20 | SIG_C_RAW R48",
        "REF ^R35 /R36 /C22 R38 | CUT_HI R37 | REF_LO ^R39 /R44",
        "REF S2 /R32 | #U4 | V5_CUT /C21",
        "CUT_HI R40 /R41 Q4.B | CUT_HI R98 /R99 Q13.B",
        "CUT_LO R42 /R43 Q7.B | CUT_HI R45 Q11.B | #U10",
        "V5_CUT R46 R97 /C23 /R47 Q12.B",
    ),
    "monitor": (
        "#U9 | V3V3 /C38",
        "SIG_C_RAW R81 R82 /R83",
        "V5_CUT R88 R89 /R91",
        "REF R85 R86 /R87",
        "COIL_P R92 /R93 %D26",
    ),
    "sense": (
        "#J6 | SIG_A_RAW /R51 R50 /C30 %D27 | #U6 | V5_SENS /C31",
        "SPI_MOSI ^R52 | SPI_CS /R53 | SPI_SCK /R54 | SPI_MISO /R55 | V3V3 /C33 /C37",
        "#J7 | SIG_B_RAW R56 /R57 /C34 %D14 | V5_SENS R58 /R59 /C35 %D15",
        "V12 R60 /R61 /C36 %D16 | #U7 | BARO_SDA ^R62 | BARO_SCL ^R63",
    ),
    "panel": (
        "#U1 | #J9 | #S3 | #J10",
        "SDA_W R109 ^R64 | SCL_W R110 ^R65 | V3V3 R70",
        "FEED S4 R101 /R66 | FEED S5 R102 /R67 | FEED S6 R103 /R68",
        "KEY_LOW_W R104 /R73 | KEY_HIGH_W R105 /R74 | WORKSHOP_W R106 /R75",
        "BENCH0_W R107 /R76 | BENCH1_W R108 /R77",
        "#D28 | #D29 | #D30",
        "BUZZER R78 /R79 Q10.B | V5 LS1 | LAMP R80 D20",
    ),
}
SYMBOL = {
    "res": elm.Resistor,
    "res-precision": elm.Resistor,
    "res-power": elm.Resistor,
    "net-tie": elm.Line,
    "cap-tantalum": elm.Capacitor,
    "cap-ceramic": elm.Capacitor,
    "cap-film": elm.Capacitor,
    "cap-bulk": elm.Capacitor,
    "diode-signal": elm.Diode,
    "diode-fast": elm.Diode,
    "diode-signal-schottky": elm.Schottky,
    "diode-schottky": elm.Schottky,
    "diode-feed": elm.Schottky,
    "diode-power": elm.Schottky,
    "zener-12": elm.Zener,
    "zener-33": elm.Zener,
    "zener-5v6": elm.Zener,
    "tvs": elm.Zener,
    "tvs-bi": elm.Zener,
    "switch-test": elm.Button,
    "led": elm.LED,
    "fuse-blade": elm.Fuse,
    "fuse-small": elm.Fuse,
    "switch-run": elm.Button,
    "button": elm.Button,
    "buzzer": elm.Speaker,
}
TRANSISTOR = {
    "npn": (elm.BjtNpn, "base"),
    "pnp": (elm.BjtPnp, "base"),
    "nmos": (elm.NFet, "gate"),
    "nmos-power": (elm.NFet, "gate"),
    "pmos": (elm.PFet, "gate"),
}
ANCHOR = {"C": "collector", "E": "emitter", "D": "drain", "S": "source"}
STEP, DROP, SMALL = 2.6, 2.0, 9


class NotJoined(ValueError):
    """A strip names a part that is not on the strip's present net."""


class Pen:
    """Drawing position: x, y and the net there; `drawn` collects the parts drawn."""

    def __init__(self, drawing: schemdraw.Drawing, parts: dict[str, Part]) -> None:
        self.drawing, self.parts, self.drawn = drawing, parts, set[str]()
        self.x, self.y, self.net = 0.0, 0.0, ""

    def put(self, element: elm.Element) -> elm.Element:
        """Add an element to the drawing."""
        return self.drawing.add(element)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        halign: Any = "center",
        valign: Any = "center",
        size: int = SMALL,
    ) -> None:
        """Write text at a point."""
        y -= {"top": 0.3, "center": 0.13 if "\n" not in words else 0.0}.get(valign, 0.0)
        self.put(
            elm.Label()
            .theta(0)
            .at((x, y))
            .label(words, loc="center", ofst=0, halign=halign, valign=valign, fontsize=size)
        )

    def begin(self, net: str) -> None:
        """Start a strip at a net."""
        self.net = net
        self.text(self.x, self.y + 0.12, f"{net}", "left", "bottom")
        self.x += 0.13 * len(net) + 0.5
        self.put(elm.Line().at((self.x - 0.13 * len(net) - 0.5, self.y)).to((self.x, self.y)))

    def across(self, ref: str) -> tuple[Part, str, str]:
        """Return (part, pin on this net, other pin)."""
        part = self.parts[ref]
        pins = list(part.pins)
        here = [p for p in pins if part.pins[p] == self.net]
        if len(pins) != 2 or not here:
            raise NotJoined(f"{ref} is not on {self.net}")
        return part, here[0], pins[1] if here[0] == pins[0] else pins[0]

    def element(
        self, part: Part, pin: str, start: tuple[float, float], end: tuple[float, float]
    ) -> None:
        """Draw a two-pin part between two points."""
        cls = SYMBOL[part.kind]
        first = "A" if "A" in part.pins else list(part.pins)[0]
        a, b = (start, end) if pin == first else (end, start)
        if cls is elm.Speaker:
            self.box(part, start, end)
        else:
            self.put(cls().endpoints(a, b))
        self.drawn.add(part.ref)

    def box(self, part: Part, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Draw a two-pin part as a box between two points."""
        self.put(elm.ResistorIEC().endpoints(start, end))

    def name(self, net: str, x: float, y: float, above: bool) -> None:
        """End of a net: the ground sign, or its name."""
        if net in GROUNDS and not above:
            self.put(elm.Ground().at((x, y)))
            if net != "GND":
                self.text(x + 0.3, y - 0.35, net, "left", "center", 7)
        else:
            self.text(x, y + (0.1 if above else -0.1), net, "center", "bottom" if above else "top")

    def series(self, ref: str) -> None:
        """Draw a part in series."""
        part, pin, other = self.across(ref)
        self.element(part, pin, (self.x, self.y), (self.x + STEP, self.y))
        self.text(self.x + STEP / 2, self.y + 0.45, f"{ref} {short(part)}", "center", "bottom")
        self.x += STEP
        self.net = part.pins[other]
        self.put(elm.Dot().at((self.x, self.y)))
        self.text(self.x, self.y - 0.2, self.net, "center", "top", 8)
        self.line(0.7)

    def line(self, length: float) -> None:
        """Draw a wire to the right."""
        self.put(elm.Line().at((self.x, self.y)).to((self.x + length, self.y)))
        self.x += length

    def shunt(self, ref: str, up: bool) -> None:
        """Draw a part from the node down or up."""
        part, pin, other = self.across(ref)
        self.line(0.4)
        end = self.y + (DROP if up else -DROP)
        self.put(elm.Dot().at((self.x, self.y)))
        self.element(part, pin, (self.x, self.y), (self.x, end))
        self.text(self.x + 0.35, (self.y + end) / 2, f"{ref}\n{short(part)}", "left", "center")
        self.name(part.pins[other], self.x, end, up)
        self.line(1.35)

    def clamp(self, ref: str) -> None:
        """Draw a pair of clamp diodes at the node."""
        part = self.parts[ref]
        if part.pins["C"] != self.net:
            raise NotJoined(f"{ref} is not on {self.net}")
        self.line(0.3)
        self.put(elm.Schottky().endpoints((self.x, self.y), (self.x, self.y + DROP)))
        self.put(elm.Schottky().endpoints((self.x, self.y - DROP), (self.x, self.y)))
        self.name(part.pins["K"], self.x, self.y + DROP, True)
        self.name(part.pins["A"], self.x, self.y - DROP, False)
        self.text(self.x + 0.4, self.y, ref, "left", "center")
        self.drawn.add(ref)
        self.x += 1.6

    def transistor(self, ref: str, pin: str) -> None:
        """Draw a transistor with its control pin on the node."""
        part = self.parts[ref]
        if part.pins[pin] != self.net:
            raise NotJoined(f"{ref} is not on {self.net}")
        cls, control = TRANSISTOR[part.kind]
        self.line(0.4)
        sign = cls().right().at((self.x, self.y)).anchor(control)
        sign = self.put(sign if control == "base" else sign.reverse())
        for name, net in part.pins.items():
            if name != pin:
                spot = getattr(sign, ANCHOR[name])
                above = spot[1] > self.y
                end = spot[1] + (0.5 if above else -0.5)
                self.put(elm.Line().at(spot).to((spot[0], end)))
                self.name(net, spot[0], end, above)
        self.text(
            self.x + (1.25 if control == "base" else 1.6),
            self.y,
            f"{ref}\n{short(part)}" if short(part) else ref,
            "left",
            "center",
        )
        self.drawn.add(ref)
        self.x += 3.0

    def chip(self, ref: str) -> None:
        """Draw a box with a net name at every pin."""
        part = self.parts[ref]
        pins = [p for p in part.pins if part.pins[p] != "NC"]
        half = (len(pins) + 1) // 2 if len(pins) > 4 else len(pins)
        height, width = 0.62 * half + 0.4, 3.0 if len(pins) > 4 else 1.9
        left = self.x + 2.2 if len(pins) > half else self.x
        top = self.y + height / 2
        corners = [
            (left, top),
            (left + width, top),
            (left + width, top - height),
            (left, top - height),
        ]
        for a, b in zip(corners, corners[1:] + corners[:1]):
            self.put(elm.Line().at(a).to(b))
        self.text(left + width / 2, top + 0.1, f"{ref} {part.value}", "center", "bottom")
        for i, pin in enumerate(pins):
            right = i < half
            y = top - 0.5 - 0.62 * (i if right else i - half)
            edge, out = (left + width, left + width + 0.5) if right else (left, left - 0.5)
            self.put(elm.Line().at((edge, y)).to((out, y)))
            self.text(edge + (-0.15 if right else 0.15), y, pin, "right" if right else "left")
            self.text(
                out + (0.1 if right else -0.22), y, part.pins[pin], "left" if right else "right"
            )
        self.drawn.add(ref)
        self.x = left + width + 2.6


def short(part: Part) -> str:
    """Text beside a symbol: the value, or nothing where the symbol suffices."""
    return (
        part.value
        if part.kind.startswith(
            (
                "res",
                "cap",
                "fuse",
                "zener",
                "nmos",
                "pmos",
                "led",
                "buzzer",
                "button",
                "switch",
                "tvs",
            )
        )
        else ""
    )


def strip(pen: Pen, words: str) -> None:
    """Draw one strip."""
    for token in words.split():
        if token.startswith("#"):
            pen.chip(token[1:])
        elif token[0] in "/^":
            pen.shunt(token[1:], token[0] == "^")
        elif token.startswith("%"):
            pen.clamp(token[1:])
        elif "." in token:
            pen.transistor(*token.split("."))
        elif token in pen.parts:
            pen.series(token)
        else:
            pen.begin(token)


def rows_height(row: str, parts: dict[str, Part]) -> float:
    """Half the height of a row."""
    tallest = 2.9
    for token in row.split():
        if token.startswith("#"):
            pins = [n for n in parts[token[1:]].pins.values() if n != "NC"]
            half = (len(pins) + 1) // 2 if len(pins) > 4 else len(pins)
            tallest = max(tallest, 0.31 * half + 1.0)
    return tallest


def sheet_svg(sheet: str) -> str:
    """Return one sheet as SVG text. ValueError when a part of the sheet is not drawn."""
    parts = load()
    drawing = schemdraw.Drawing(show=False)
    drawing.config(unit=2.6, fontsize=SMALL, lw=1.3, bgcolor="white", margin=0.4)
    pen = Pen(drawing, parts)
    y = 0.0
    pen.text(0, y + 1.0, f"Sheet: {SHEET_TITLES[sheet]}", "left", "bottom", 15)
    for row in LAYOUT[sheet]:
        half = rows_height(row, parts)
        y -= half
        pen.x, pen.y = 0.0, y
        for words in row.split("|"):
            strip(pen, words)
            pen.x += 0.9
        y -= half
    missing = {row[0] for row in SHEETS[sheet]} - pen.drawn
    if missing:
        raise ValueError(f"not drawn on sheet {sheet}: {', '.join(sorted(missing))}")
    return drawing.get_imagedata("svg").decode("utf-8")


def write_sheets(folder: Path) -> list[Path]:
    """Write schematic_<sheet>.svg for every sheet."""
    done = []
    for sheet in LAYOUT:
        path = folder / f"schematic_{sheet}.svg"
        path.write_text(sheet_svg(sheet), encoding="utf-8")
        done.append(path)
    return done
