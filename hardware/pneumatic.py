"""Pneumatic diagram with the graphic symbols of ISO 1219-1 (own drawing; references as in hardware/air_parts.py).

Valves are drawn at rest (no current): SV1 and SV2 closed, SV3 (vent) open. Thin dashes are pilot lines, long dashes join parts that move
together.
"""

from hardware.air_parts import AIR_PARTS

INK = 'fill="none" stroke="black" stroke-width="1.6" stroke-linejoin="round"'


class Sheet:
    """Collection of SVG elements; `drawn` holds the references drawn."""

    def __init__(self) -> None:
        self.items: list[str] = []
        self.drawn: set[str] = set()

    def path(self, d: str, extra: str = "") -> None:
        """Add a path."""
        self.items.append(f'<path d="{d}" {INK} {extra}/>')

    def line(self, *points: tuple[float, float], dash: str = "") -> None:
        """Add a line through points."""
        extra = f'stroke-dasharray="{dash}"' if dash else ""
        self.path("M" + " L".join(f"{x:g} {y:g}" for x, y in points), extra)

    def box(self, x: float, y: float, w: float, h: float) -> None:
        """Add a rectangle."""
        self.path(f"M{x} {y} h{w} v{h} h{-w} z")

    def ring(self, x: float, y: float, r: float, fill: str = "none") -> None:
        """Add a circle."""
        self.items.append(
            f'<circle cx="{x}" cy="{y}" r="{r}" fill="{fill}" stroke="black" stroke-width="1.6"/>'
        )

    def dot(self, x: float, y: float) -> None:
        """Add a dot."""
        self.ring(x, y, 3.2, "black")

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: int = 12,
        anchor: str = "start",
        bold: bool = False,
    ) -> None:
        """Add text."""
        weight = ' font-weight="bold"' if bold else ""
        self.items.append(
            f'<text x="{x}" y="{y}" font-family="sans-serif" font-size="{size}" text-anchor="{anchor}"{weight}>{words}</text>'
        )

    def label(self, ref: str, x: float, y: float, words: str, anchor: str = "start") -> None:
        """Add a reference with its text."""
        self.drawn.add(ref)
        self.text(x, y, ref, 13, anchor, True)
        for i, part in enumerate(words.split("\n")):
            self.text(x, y + 15 + 13 * i, part, 11, anchor)

    def arrow(self, x1: float, y1: float, x2: float, y2: float) -> None:
        """Add an arrow."""
        self.line((x1, y1), (x2, y2))
        dx, dy = x2 - x1, y2 - y1
        n = (dx * dx + dy * dy) ** 0.5
        ux, uy = dx / n, dy / n
        left, right = (
            (x2 - 8 * ux + 4 * uy, y2 - 8 * uy - 4 * ux),
            (x2 - 8 * ux - 4 * uy, y2 - 8 * uy + 4 * ux),
        )
        self.items.append(
            f'<path d="M{x2:g} {y2:g} L{left[0]:g} {left[1]:g} L{right[0]:g} {right[1]:g} z" fill="black"/>'
        )

    def spring(self, x: float, y: float, turns: int = 3, step: float = 6, up: bool = False) -> None:
        """Draw a spring: sideways from x,y, or upwards."""
        points = [(x, y)]
        for i in range(turns * 2):
            off = 7 if i % 2 == 0 else -7
            points.append((x + off, y - step * (i + 1)) if up else (x + step * (i + 1), y + off))
        self.line(*points)

    def solenoid(self, x: float, y: float) -> None:
        """Draw a solenoid."""
        self.box(x - 22, y - 12, 22, 24)
        self.line((x - 22, y + 12), (x, y - 12))

    def shut_box(self, x: float, y: float) -> None:
        """Draw the closed position of a valve."""
        self.box(x, y, 44, 44)
        for py, inner in ((y, y + 14), (y + 44, y + 30)):
            self.line((x + 22, py), (x + 22, inner))
            self.line((x + 15, inner), (x + 29, inner))

    def through_box(self, x: float, y: float, down: bool) -> None:
        """Draw the open position of a valve."""
        self.box(x, y, 44, 44)
        ends = (y, y + 44) if down else (y + 44, y)
        self.arrow(x + 22, ends[0], x + 22, ends[1])

    def valve(self, ref: str, x: float, y: float, rest_shut: bool, down: bool) -> None:
        """Draw a 2/2 solenoid valve around height y; the resting box is beside the spring, its ports at (x + 66, y - 22) and (x + 66, y
        + 22).
        """
        rest, driven = x + 44, x
        if rest_shut:
            self.shut_box(rest, y - 22)
            self.through_box(driven, y - 22, down)
        else:
            self.through_box(rest, y - 22, down)
            self.shut_box(driven, y - 22)
        self.solenoid(x, y)
        self.spring(x + 88, y)
        self.drawn.add(ref)

    def relief(self, ref: str, x: float, y: float, words: str) -> None:
        """Draw a relief valve at the point x,y: inlet below, outlet to the room above; spring at the right, pilot from the inlet."""
        self.line((x, y), (x, y - 30))
        self.box(x - 22, y - 74, 44, 44)
        self.arrow(x + 9, y - 30, x + 9, y - 74)
        self.spring(x + 22, y - 52, 3, 5)
        self.line((x, y - 14), (x - 34, y - 14), (x - 34, y - 52), (x - 22, y - 52), dash="3 3")
        self.line((x, y - 74), (x, y - 90))
        self.path(f"M{x - 8} {y - 90} h16 l-8 -14 z")
        self.label(ref, x + 58, y - 64, words)

    def transducer(self, ref: str, x: float, y: float, name: str, words: str) -> None:
        """Draw a tap with filter below a transducer: square with pressure in and an electric signal out."""
        self.line((x, y), (x, y - 14))
        self.path(f"M{x} {y - 42} l14 14 l-14 14 l-14 -14 z")
        self.line((x - 14, y - 28), (x + 14, y - 28), dash="4 3")
        self.line((x, y - 42), (x, y - 56))
        self.box(x - 17, y - 90, 34, 34)
        self.line((x - 17, y - 56), (x + 17, y - 90))
        self.text(x - 11, y - 76, "p", 12)
        self.text(x + 3, y - 60, "U", 12)
        self.text(x, y - 96, f"transducer {name}", 12, "middle", True)
        self.label(ref, x + 20, y - 34, words)


def isolation(s: Sheet) -> None:
    """Draw the compressed-air main and the hand valve behind it, closed: what follows is open to the room."""
    s.path("M30 510 h0 l16 -10 v20 z")
    s.text(26, 540, "main, at most 10 bar", 11)
    s.line((46, 510), (124, 510), (124, 484))
    s.box(114, 440, 44, 44)
    s.arrow(136, 440, 148, 484)
    s.line((124, 484), (124, 474))
    s.line((118, 474), (130, 474))
    s.box(70, 440, 44, 44)
    s.arrow(80, 484, 92, 440)
    s.line((104, 484), (104, 474))
    s.line((98, 474), (110, 474))
    s.line((70, 462), (56, 462))
    s.line((56, 450), (56, 474))
    s.line((148, 484), (148, 496))
    s.path("M140 496 h16 l-8 12 z")
    s.label("IV1", 170, 456, "isolation and dump,\nlockable shut")


def left_side(s: Sheet) -> None:
    """Draw the two builds of the air source, each ending at x = 560."""
    s.text(20, 56, "Compressor build", 14, bold=True)
    s.ring(110, 130, 24)
    s.path("M110 106 l-9 15 h18 z")
    s.ring(58, 130, 18)
    s.text(58, 135, "M", 13, "middle")
    s.line((76, 130), (86, 130))
    s.line((110, 154), (110, 172))
    s.path("M102 172 h16 l-8 14 z")
    s.label("P1", 30, 182, "12 V compressor head\nrelay contact and\npulse gate in series")
    s.line((110, 106), (110, 90), (250, 90))
    s.path("M268 72 l18 18 l-18 18 l-18 -18 z")
    s.line((268, 72), (268, 108), dash="4 3")
    s.line((256, 96), (268, 103), (280, 96))
    s.label("FT1", 252, 126, "filter, water trap")
    s.line((286, 90), (400, 90))
    s.ring(409, 90, 8)
    s.line((424, 78), (402, 84))
    s.line((424, 102), (402, 96))
    s.line((417, 90), (560, 90))
    s.label("NR1", 394, 126, "check valve")
    s.text(20, 256, "Workshop line build", 14, bold=True)
    isolation(s)
    s.line((136, 440), (136, 424), (60, 424), (60, 322), (82, 322))
    s.path("M100 304 l18 18 l-18 18 l-18 -18 z")
    s.line((100, 304), (100, 340), dash="4 3")
    s.line((88, 328), (100, 335), (112, 328))
    s.text(86, 360, "FT1", 13, bold=True)
    s.line((118, 322), (140, 322))
    s.box(140, 300, 44, 44)
    s.arrow(140, 322, 184, 322)
    s.spring(162, 300, 2, 5, up=True)
    s.arrow(148, 292, 178, 272)
    s.line((184, 322), (196, 322), (196, 354), (162, 354), (162, 344), dash="3 3")
    s.label("RG1", 142, 376, "regulator,\nset 9 bar")
    s.line((196, 322), (216, 322), (216, 362), (316, 362), (316, 344))
    s.valve("SV1", 250, 322, True, False)
    s.line((316, 300), (316, 280), (466, 280), (466, 300))
    s.valve("SV2", 400, 322, True, True)
    s.label("SV1", 250, 388, "relay channel\n(valve L1)")
    s.label("SV2", 400, 388, "pulse channel\n(valve L2)")
    s.line((466, 344), (466, 362), (560, 362))
    s.path("M510 352 q10 10 20 0 M510 372 q10 -10 20 0")
    s.label("RO1", 506, 388, "C 0.20\ndm3/(s bar)")
    s.line((560, 90), (560, 362))
    s.text(566, 74, "one build or the other", 11)


def right_side(s: Sheet) -> None:
    """Draw manifold, taps, vent, relief valves, hose and tyre."""
    manifold(s)
    reliefs_and_hose(s)


def manifold(s: Sheet) -> None:
    """Draw plenum, taps and vent."""
    s.line((560, 240), (640, 240), (640, 470), (1140, 470))
    s.dot(560, 240)
    s.path("M660 205 h240 a18 18 0 0 1 0 36 h-240 a18 18 0 0 1 0 -36 z")
    s.line((640, 223), (642, 223))
    s.text(735, 258, "dead-end plenum: no through flow past the taps", 11)
    s.drawn.add("PL1")
    s.text(700, 258, "PL1", 13, bold=True)
    s.dot(640, 240)
    s.dot(640, 223)
    s.line((640, 240), (640, 223))
    s.transducer("TA", 710, 205, "A", "40 um")
    s.transducer("TB", 820, 205, "B", "40 um")
    s.dot(640, 470)
    s.line((640, 470), (640, 610), (720, 610), (720, 606))
    s.transducer("TC", 720, 606, "C", "40 um, cutoff")
    s.text(742, 614, "a port of its own: a blocked neck of the plenum leaves C alive", 11)
    s.dot(640, 350)
    s.line((640, 350), (766, 350), (766, 332))
    s.valve("SV3", 700, 310, False, False)
    s.line((766, 288), (766, 278), (850, 278), (850, 310), (866, 310))
    s.box(866, 298, 30, 24)
    for x in (873, 881, 889):
        s.line((x, 298), (x, 322))
    s.path("M896 303 v14 l13 -7 z")
    s.text(918, 314, "silencer; C 0.80 with the valve", 11)
    s.label("SV3", 800, 344, "vent, drawn open; closed only\nwhile firmware and cutoff hold it")


def reliefs_and_hose(s: Sheet) -> None:
    """Draw relief valves, range key, hose and tyre."""
    s.dot(700, 470)
    s.relief("RV2", 700, 470, "10.5 bar")
    s.line((930, 470), (930, 470))
    s.dot(900, 470)
    s.line((900, 470), (900, 450))
    s.box(878, 406, 44, 44)
    s.line((900, 450), (900, 436))
    s.line((893, 436), (907, 436))
    s.line((900, 406), (900, 420))
    s.line((893, 420), (907, 420))
    s.box(834, 406, 44, 44)
    s.arrow(856, 450, 856, 406)
    s.line((834, 428), (818, 428))
    s.line((818, 414), (818, 442))
    s.line((900, 406), (900, 392), (960, 392), (960, 440))
    s.label(
        "V5",
        800,
        496,
        "range key: ball valve, drawn in the high position; low opens it.\nIts stem carries the three poles of switch S3",
    )
    s.items.append('<g transform="translate(60,-10)">')
    s.relief("RV1", 960, 450, "5.9 bar,\nlow range only")
    s.items.append("</g>")
    s.line((960, 440), (1020, 440))
    s.path("M1140 470 q25 -34 50 0 q25 34 50 0")
    s.dot(1140, 470)
    s.dot(1240, 470)
    s.label("H1", 1150, 520, "hose 1.2 m, 6 mm")
    s.line((1240, 470), (1262, 470))
    s.path("M1262 462 h14 v16 h-14 z M1276 470 h10")
    s.label("CH1", 1200, 420, "clip-on chuck")
    s.ring(1322, 470, 34)
    s.ring(1322, 470, 22)
    s.text(1322, 530, "tyre", 12, "middle", True)


def diagram() -> str:
    """Return the whole diagram as SVG text. ValueError when a part of the list is missing."""
    s = Sheet()
    s.text(
        20, 26, "Pneumatics (symbols after ISO 1219-1; valves drawn without current)", 17, bold=True
    )
    left_side(s)
    right_side(s)
    s.drawn.add("FT1")
    missing = {part.ref for part in AIR_PARTS} - s.drawn
    if missing:
        raise ValueError(f"not on the pneumatic diagram: {', '.join(sorted(missing))}")
    head = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="1380" height="640" viewBox="0 0 1380 640">'
    )
    return head + '<rect width="1380" height="640" fill="white"/>' + "\n".join(s.items) + "</svg>\n"
