"""Symbol and footprint of each class of parts, and the number of each pin on both.

Library `Rimward` is our own (own.py), all others are the distribution's (kicad-symbols, kicad-footprints 6.0). A pin that is not in the
table has its name as its number. One pin of the data may be several pads (the grounds of a module).
"""

from hardware.circuit import Part
from hardware.sources import KINDS

Numbers = dict[str, tuple[str, ...]]  # pin of the data -> its numbers
DIODE: Numbers = {"A": ("2",), "K": ("1",)}
BJT: Numbers = {"B": ("1",), "E": ("2",), "C": ("3",)}
MOS: Numbers = {"G": ("1",), "S": ("2",), "D": ("3",)}
LEADS = {
    "GP": (1, 2, 4, 5, 6, 7, 9, 10, 11, 12, 14, 15, 16, 17, 19, 20, 21, 22, 24, 25, 26, 27, 29)
}  # of GP0 to GP22

# class -> (symbol, {pin of the data: numbers})
SYMBOLS: dict[str, tuple[str, Numbers]] = {
    **dict.fromkeys(("res", "res-precision", "res-power"), ("Device:R", {})),
    **dict.fromkeys(("cap-ceramic", "cap-film"), ("Device:C", {})),
    **dict.fromkeys(("cap-bulk", "cap-tantalum"), ("Device:C_Polarized", {})),
    **dict.fromkeys(("fuse-blade", "fuse-small"), ("Device:Fuse", {})),
    "net-tie": ("Device:NetTie_2", {}),
    "tvs-bi": ("Device:D_TVS", {}),
    **dict.fromkeys(("tvs", "zener-12", "zener-33", "zener-5v6"), ("Device:D_Zener", DIODE)),
    **dict.fromkeys(
        ("diode-schottky", "diode-feed", "diode-signal-schottky"), ("Device:D_Schottky", DIODE)
    ),
    **dict.fromkeys(("diode-fast", "diode-signal"), ("Device:D", DIODE)),
    "led": ("Device:LED", DIODE),
    "diode-power": (
        "Device:D_Schottky_AKA",
        {"A": ("1", "3"), "K": ("2",)},
    ),  # both halves of the package
    "clamp-dual": ("Diode:BAT54S", {"A": ("1",), "K": ("2",), "C": ("3",)}),
    "npn": ("Transistor_BJT:BC847", BJT),
    "pnp": ("Transistor_BJT:BC857", BJT),
    "nmos": ("Device:Q_NMOS_GSD", MOS),
    "pmos": ("Device:Q_PMOS_GSD", MOS),
    "nmos-power": ("Device:Q_NMOS_GDS", {"G": ("1",), "D": ("2",), "S": ("3",)}),
    "conn-power": ("Connector:Screw_Terminal_01x0{n}", {}),
    "conn-small": ("Connector_Generic:Conn_01x0{n}", {}),
    **dict.fromkeys(("transducer-vented", "transducer-sealed"), ("Rimward:Transducer", {})),
    "display": ("Rimward:Display", {"GND": ("1",), "VCC": ("2",), "SCL": ("3",), "SDA": ("4",)}),
    **dict.fromkeys(("switch-run", "switch-test", "button"), ("Switch:SW_Push", {})),
    "switch-key": (
        "Rimward:RangeKey",
        {
            "A_COM": ("1",),
            "A_HIGH": ("2",),
            "B_COM": ("3",),
            "B_LOW": ("4",),
            "C_COM": ("5",),
            "C_HIGH": ("6",),
        },
    ),
    "relay": ("Rimward:Relay_FormA", {"11": ("30",), "14": ("87",), "A1": ("86",), "A2": ("85",)}),
    "buzzer": ("Rimward:Buzzer", {}),
    "reg-switch-5": (
        "Regulator_Switching:R-78E5.0-1.0",
        {"VIN": ("1",), "GND": ("2",), "VOUT": ("3",)},
    ),
    "reg-linear-5": (
        "Regulator_Linear:LP2950-5.0_TO92",
        {"VOUT": ("1",), "GND": ("2",), "VIN": ("3",)},
    ),
    "reg-linear-3": (
        "Regulator_Linear:MCP1802x-xx02xOT",
        {"VIN": ("1", "3"), "GND": ("2",), "VOUT": ("5",)},
    ),
    "supervisor": ("Rimward:MAX803M", {"GND": ("1",), "RESET": ("2",), "VDD": ("3",)}),
    "comparator": (
        "Comparator:MCP6562",
        {
            p: (str(n),)
            for n, p in enumerate(("OUTA", "INA-", "INA+", "V-", "INB+", "INB-", "OUTB", "V+"), 1)
        },
    ),
    "adc16": (
        "Rimward:ADS8866",
        {
            p: (str(n),)
            for n, p in enumerate(
                ("REF", "AVDD", "AINP", "AINN", "GND", "CONVST", "DOUT", "SCLK", "DIN", "DVDD"), 1
            )
        },
    ),
    "adc-i2c": (
        "Analog_ADC:ADS1115IDGS",
        {
            p: (str(n),)
            for n, p in enumerate(
                ("ADDR", "ALERT", "GND", "AIN0", "AIN1", "AIN2", "AIN3", "VDD", "SDA", "SCL"), 1
            )
        },
    ),
    "barometer": (
        "Sensor_Pressure:BMP280",
        {
            "GND": ("1", "7"),
            "CSB": ("2",),
            "SDI": ("3",),
            "SCK": ("4",),
            "SDO": ("5",),
            "VDDIO": ("6",),
            "VDD": ("8",),
        },
    ),
    "esd-quad": (
        "Power_Protection:SP0504BAHT",
        {"1": ("1",), "2": ("3",), "3": ("4",), "4": ("5",), "GND": ("2",)},
    ),
    "mcu-board": (
        "Rimward:Pico",
        {
            **{f"GP{n}": (str(lead),) for n, lead in enumerate(LEADS["GP"])},
            "GP26": ("31",),
            "GP27": ("32",),
            "GP28": ("34",),
            "RUN": ("30",),
            "AGND": ("33",),
            "ADC_VREF": ("35",),
            "3V3": ("36",),
            "3V3_EN": ("37",),
            "VSYS": ("39",),
            "VBUS": ("40",),
            "GND": ("3", "8", "13", "18", "23", "28", "38"),
        },
    ),
}

# The editor's rule check requires a source for every supply: nets that reach a supply pin only through fuse, diode or net tie.
FLAGGED = ("V12_LOGIC", "V12_REG", "VSYS", "GND", "CGND", "SGND")
FLAG = "power-flag"

# Pads without a pin of the data, with the reason.
SPARE: dict[str, dict[str, str]] = {"reg-linear-3": {"4": "no connection inside"}}


def flags() -> dict[str, Part]:
    """One power flag for each such net: on the sheets only, neither in the netlist nor in the bill of materials."""
    return {
        f"#FLG0{n}": Part(f"#FLG0{n}", FLAG, "PWR_FLAG", "", {"1": net}, "", "power")
        for n, net in enumerate(FLAGGED, 1)
    }


def symbol_of(part: Part) -> str:
    """Library and name of the part's symbol."""
    if part.kind == FLAG:
        return "power:PWR_FLAG"
    return SYMBOLS[part.kind][0].format(n=len(part.pins))


def footprint_of(part: Part) -> str:
    """Library and name of the part's footprint; connectors have one for each number of pins, a power flag has none."""
    if part.kind == FLAG:
        return ""
    return KINDS[part.kind].footprint.format(n=len(part.pins))


def numbers(part: Part, pin: str) -> tuple[str, ...]:
    """Numbers of the pin on symbol and footprint."""
    return (pin,) if part.kind == FLAG else SYMBOLS[part.kind][1].get(pin, (pin,))


def numbered(parts: dict[str, Part]) -> dict[str, set[tuple[str, str]]]:
    """Net -> {(reference, pin number)}: the netlist for a board layout."""
    found: dict[str, set[tuple[str, str]]] = {}
    for part in parts.values():
        for pin, net in part.pins.items():
            if net != "NC":
                found.setdefault(net, set()).update(
                    (part.ref, number) for number in numbers(part, pin)
                )
    return found
