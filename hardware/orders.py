"""Order numbers: for each part a maker's number that fits the row, and whether its data sheet was read during the design.

Numbers are examples of the series named in sources.py, nearly all from memory. `UNCHECKED`: open the sheet and compare every figure of the
row, pinout and outline before ordering.
"""

from hardware.circuit import Part, load

SEEN, UNCHECKED = "sheet seen", "unchecked: verify before ordering"
SHEET_SEEN = ("adc16", "relay")

CERAMIC = {
    "10u": "GRM31CR7YA106KA12L",
    "22u": "GRM31CR71A226KE15L",
    "1u": "GRM31CR71H105KA61L",
    "150n": "C3216X7R1H154K160AA",
    "100n": "GRM319R71H104KA01D",
    "47n": "GRM319R71H473KA01D",
    "10n": "GRM319R71H103KA01D",
}
FUSES = {"0.8 A": "TR5 time-lag 800 mA", "0.2 A": "TR5 time-lag 200 mA", "2 A": "TR5 time-lag 2 A"}
NUMBERS = {
    "fuse-blade": "blade fuse ISO 8820-3 type C, 25 A, with a two-pin board holder",
    "tvs": "SMCJ15A",
    "tvs-bi": "SMBJ24CA",
    "net-tie": "drawn in copper: nothing to order",
    "cap-bulk": "EEU-FR1V471",
    "cap-tantalum": "TAJB475K016RNJ",
    "cap-film": "MKS2C033301F00JSSD",
    "res-power": "CRCW2512220RJNEG",
    "diode-schottky": "SS14",
    "diode-feed": "SS36",
    "esd-quad": "SP0504BAHTG",
    "diode-signal-schottky": "BAT54WS",
    "diode-signal": "1N4148W",
    "diode-fast": "US1B",
    "diode-power": "MBR2060CT",
    "zener-12": "MMSZ5242B",
    "zener-33": "SMAZ33",
    "zener-5v6": "SMAZ5V6",
    "led": "5 mm white lamp, 20 mA",
    "clamp-dual": "BAT54S",
    "npn": "BC847B",
    "pnp": "BC857B",
    "nmos": "AO3422",
    "pmos": "SI2309CDS",
    "nmos-power": "CSD18532KCS",
    "relay": "12 V 30 A form A with socket, coil 180 to 300 ohm, release 10 ms at most",
    "reg-switch-5": "R-78E5.0-1.0",
    "reg-linear-5": "LP2950ACZ-5.0",
    "reg-linear-3": "MCP1802T-3002I/OT",
    "supervisor": "MAX803MEXR",
    "adc-i2c": "ADS1115IDGSR",
    "comparator": "MCP6562-E/SN",
    "adc16": "ADS8866IDGS",
    "barometer": "BMP280",
    "mcu-board": "SC0915 (Pico)",
    "transducer-sealed": "M3200 sealed gauge 10 bar 0.5-4.5 V, with connector B3B-XH-A on the board",
    "transducer-vented": "M5200 gauge 10 bar 0.5-4.5 V, with connector B3B-XH-A on the board",
    "display": "SSD1306 module 128 x 64 I2C, with a four-pin header",
    "switch-run": "V15 snap-action, with connector B2B-XH-A on the board",
    "switch-test": "KS-01Q, with connector B2B-XH-A on the board",
    "switch-key": "three D2F-01 on a cam, with connector B6B-XH-A on the board",
    "button": "IP67 push button 16 mm, with connector B2B-XH-A on the board",
    "buzzer": "12 mm active piezo 5 V, pins 7.6 mm apart",
}


def coded(value: str) -> str:
    """Write a resistance as in makers' numbers: 2.2k is 2K2, 220 is 220R, 10.0k is 10K."""
    unit = {"k": "K", "M": "M"}.get(value[-1], "R")
    figure = value.rstrip("kM")
    whole, _, part = figure.partition(".")
    return f"{whole}{unit}{part.rstrip('0')}"


def number(part: Part) -> str:
    """Order number of a part. KeyError for a class or value without an entry."""
    if part.kind == "res":
        return f"RC0805FR-07{coded(part.value)}L"
    if part.kind == "res-precision":
        return f"RT0805BRD07{coded(part.value)}L"
    if part.kind == "cap-ceramic":
        return CERAMIC[part.value]
    if part.kind == "fuse-small":
        return FUSES[part.value]
    if part.kind == "conn-power":
        return f"DT-55-B01X-0{len(part.pins)}"
    if part.kind == "conn-small":
        return f"B{len(part.pins)}B-XH-A"
    return NUMBERS[part.kind]


def checked(kind: str) -> str:
    """Return True if the data sheet was read."""
    return SEEN if kind in SHEET_SEEN else UNCHECKED


def numbers() -> dict[str, tuple[str, str]]:
    """Return reference -> (order number, checked or not)."""
    return {p.ref: (number(p), checked(p.kind)) for p in load().values()}
