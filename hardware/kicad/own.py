"""Own symbols and footprints for parts that the distribution's libraries lack: drawn pin by pin from tables.

Sources of the pin orders: ADS8866 sheet (seen); MAX803/TLV803 sheets, the Pico's sheet, ISO 7588-1 for the relay's terminals, from
memory: verify before ordering. The distribution's buzzer symbol has its minus on pin 1 while its footprint has the plus on pad 1, so ours
has the plus there.
"""

from kiutils.footprint import DrillDefinition, Footprint, Pad
from kiutils.items.common import Effects, Font, Position, Property, Stroke
from kiutils.items.fpitems import FpRect, FpText
from kiutils.items.syitems import SyRect
from kiutils.symbol import Symbol, SymbolPin

GRID = 2.54
LEFT, RIGHT = 0, 180  # angle of a pin that leaves the body on that side
DRILL_LEAD, PAD_LEAD = 1.02, 1.7

# name -> (half width in mm, ((number, name, type), ...) left from above, the same right, description)
Pins = tuple[tuple[str, str, str], ...]
BOXES: dict[str, tuple[float, Pins, Pins, str]] = {
    "ADS8866": (
        7.62,
        (
            ("1", "REF", "power_in"),
            ("2", "AVDD", "power_in"),
            ("3", "AINP", "input"),
            ("4", "AINN", "input"),
            ("5", "GND", "power_in"),
        ),
        (
            ("10", "DVDD", "power_in"),
            ("9", "DIN", "input"),
            ("8", "SCLK", "input"),
            ("7", "DOUT", "output"),
            ("6", "CONVST", "input"),
        ),
        "16-bit converter, VSSOP-10",
    ),
    "MAX803M": (
        7.62,
        (("3", "VCC", "power_in"), ("1", "GND", "power_in")),
        (("2", "~{RESET}", "open_collector"),),
        "supply supervisor, open drain, SOT-23",
    ),
    "Transducer": (
        5.08,
        (("1", "VS", "power_in"), ("2", "OUT", "output"), ("3", "GND", "power_in")),
        (),
        "ratiometric pressure transducer on three wires",
    ),
    "Display": (
        5.08,
        (
            ("1", "GND", "power_in"),
            ("2", "VCC", "power_in"),
            ("3", "SCL", "input"),
            ("4", "SDA", "bidirectional"),
        ),
        (),
        "I2C display module",
    ),
    "RangeKey": (
        7.62,
        (("1", "A_COM", "passive"), ("3", "B_COM", "passive"), ("5", "C_COM", "passive")),
        (("2", "A_HIGH", "passive"), ("4", "B_LOW", "passive"), ("6", "C_HIGH", "passive")),
        "three-pole two-position key switch, wired",
    ),
    "Relay_FormA": (
        7.62,
        (("30", "COM", "passive"), ("86", "COIL+", "passive")),
        (("87", "NO", "passive"), ("85", "COIL-", "passive")),
        "12 V form A relay in its own socket, wired to four tabs",
    ),
    "Buzzer": (
        2.54,
        (("1", "+", "passive"),),
        (("2", "-", "passive"),),
        "buzzer with its own oscillator; pad 1 is the plus",
    ),
    "Pico": (
        12.7,
        tuple(
            (str(n), name, "power_in" if name == "GND" else "bidirectional")
            for n, name in enumerate(
                (
                    "GP0",
                    "GP1",
                    "GND",
                    "GP2",
                    "GP3",
                    "GP4",
                    "GP5",
                    "GND",
                    "GP6",
                    "GP7",
                    "GP8",
                    "GP9",
                    "GND",
                    "GP10",
                    "GP11",
                    "GP12",
                    "GP13",
                    "GND",
                    "GP14",
                    "GP15",
                ),
                1,
            )
        ),
        tuple(
            (str(40 - n), name, kind)
            for n, (name, kind) in enumerate(
                (
                    ("VBUS", "passive"),
                    ("VSYS", "power_in"),
                    ("GND", "power_in"),
                    ("3V3_EN", "input"),
                    ("3V3", "power_out"),
                    ("ADC_VREF", "passive"),
                    ("GP28", "bidirectional"),
                    ("AGND", "passive"),
                    ("GP27", "bidirectional"),
                    ("GP26", "bidirectional"),
                    ("RUN", "input"),
                    ("GP22", "bidirectional"),
                    ("GND", "power_in"),
                    ("GP21", "bidirectional"),
                    ("GP20", "bidirectional"),
                    ("GP19", "bidirectional"),
                    ("GP18", "bidirectional"),
                    ("GND", "power_in"),
                    ("GP17", "bidirectional"),
                    ("GP16", "bidirectional"),
                )
            )
        ),
        "Raspberry Pi Pico, 40 leads",
    ),
}


def effects(size: float = 1.27, hide: bool = False) -> Effects:
    """Text effects of a symbol."""
    return Effects(font=Font(height=size, width=size), hide=hide)


def _pins(rows: Pins, half: float, side: int) -> list[SymbolPin]:
    top = (len(rows) - 1) // 2 * GRID
    x = -half - GRID if side == LEFT else half + GRID
    return [
        SymbolPin(
            electricalType=kind,
            graphicalStyle="line",
            position=Position(x, top - i * GRID, side),
            length=GRID,
            name=name,
            nameEffects=effects(),
            number=number,
            numberEffects=effects(),
        )
        for i, (number, name, kind) in enumerate(rows)
    ]


def symbol(name: str) -> Symbol:
    """One symbol: a box with pins on the left and right."""
    half, left, right, text = BOXES[name]
    rows = max(len(left), len(right))
    high, low = ((rows - 1) // 2 + 1) * GRID, -(rows // 2 + 1) * GRID
    outline = SyRect(
        start=Position(-half, high),
        end=Position(half, low),
        stroke=Stroke(width=0.254, type="default"),
    )
    outline.fill.type = "background"
    made = Symbol(inBom=True, onBoard=True, pinNamesOffset=0.508)
    made.libId = name
    made.properties = [
        Property("Reference", "U", 0, Position(0, high + 2.54, 0), effects()),
        Property("Value", name, 1, Position(0, low - 2.54, 0), effects()),
        Property("Footprint", "", 2, Position(0, 0, 0), effects(hide=True)),
        Property("Datasheet", "", 3, Position(0, 0, 0), effects(hide=True)),
        Property("ki_description", text, 4, Position(0, 0, 0), effects(hide=True)),
    ]
    shape, pins = Symbol(), Symbol()
    shape.libId, pins.libId = f"{name}_0_1", f"{name}_1_1"
    shape.graphicItems = [outline]
    pins.pins = [*_pins(left, half, LEFT), *_pins(right, half, RIGHT)]
    made.units = [shape, pins]
    return made


def _footprint(
    name: str, text: str, pads: list[Pad], body: tuple[float, float, float, float]
) -> Footprint:
    x0, y0, x1, y1 = body
    made = Footprint.create_new(f"Rimward:{name}", name)
    made.libId = name
    made.generator, made.version = "rimward", "20211014"
    made.tedit = "00000000"
    made.description = text
    made.attributes.type = "through_hole"
    made.graphicItems = [
        FpText(
            type="reference",
            text="REF**",
            position=Position(round((x0 + x1) / 2, 3), y0 - 1.5),
            layer="F.SilkS",
            effects=effects(1.0),
        ),
        FpText(
            type="value",
            text=name,
            position=Position(round((x0 + x1) / 2, 3), y1 + 1.5),
            layer="F.Fab",
            effects=effects(1.0),
        ),
        FpRect(start=Position(x0, y0), end=Position(x1, y1), layer="F.SilkS", width=0.12),
        FpRect(
            start=Position(x0 - 0.5, y0 - 0.5),
            end=Position(x1 + 0.5, y1 + 0.5),
            layer="F.CrtYd",
            width=0.05,
        ),
    ]
    made.pads = pads
    return made


def _hole(number: str, x: float, y: float, pad: float, drill: float, first: bool = False) -> Pad:
    made = Pad(
        number=number,
        type="thru_hole",
        shape="rect" if first else "circle",
        position=Position(round(x, 3), round(y, 3)),
        size=Position(pad, pad),
        layers=["*.Cu", "*.Mask"],
    )
    made.drill = DrillDefinition(diameter=drill)
    return made


def pico() -> Footprint:
    """Two rows of 20 leads, 2.54 mm apart, rows 17.78 mm apart; lead 1 at the USB end."""
    rows = [(str(n + 1), 0.0, n * GRID) for n in range(20)] + [
        (str(40 - n), 17.78, n * GRID) for n in range(20)
    ]
    return _footprint(
        "RaspberryPi_Pico",
        "Raspberry Pi Pico on pin headers, 2 x 20, 2.54 mm, rows 17.78 mm apart",
        [_hole(number, x, y, PAD_LEAD, DRILL_LEAD, number == "1") for number, x, y in rows],
        (-1.61, -1.37, 19.39, 49.63),
    )


def relay() -> Footprint:
    """Four 6.3 mm tabs for the wires of a relay in its own socket: two holes a tab, 5.08 mm apart; tabs 12.7 mm apart."""
    pads = [
        _hole(number, column * 12.7, hole * 5.08, 3.2, 1.4)
        for column, number in enumerate(("30", "87", "86", "85"))
        for hole in (0, 1)
    ]
    return _footprint(
        "Relay_Tabs_6.3mm",
        "Four 6.3 x 0.8 mm tabs for a wired relay: 30, 87 contact, 86, 85 coil",
        pads,
        (-3.2, -2.6, 41.3, 7.7),
    )


FOOTPRINTS = {"RaspberryPi_Pico": pico, "Relay_Tabs_6.3mm": relay}
