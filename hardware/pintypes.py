"""What every pin is for, and the highest potential that each net has in normal working: the data behind the polarity rules.

Types: `in+` takes a supply, `out+` gives one, `gnd` return, `in` signal input, `out` push-pull output, `oc` open collector or drain,
`bus` both ways, `base` and `gate` control of a transistor, `a` anode or plus of a load, `k` cathode, `+` and `-` of a capacitor, `-p-` passive.
"""

P = "-p-"

# Two pins that may be exchanged without any difference.
SYMMETRIC = frozenset({"res", "res-precision", "res-power", "cap-ceramic", "cap-film", "fuse-blade", "fuse-small", "net-tie", "tvs-bi", "switch-run", "switch-test", "button"})

# Pins of one class that are each other's equal: to exchange them changes nothing.
EQUAL: dict[str, frozenset[str]] = {"esd-quad": frozenset("1234")}

TYPES: dict[str, dict[str, str]] = {
    **{kind: {"1": P, "2": P} for kind in SYMMETRIC},
    "conn-power": {"1": P, "2": P, "3": P, "4": P}, "conn-small": {"1": P, "2": P, "3": P, "4": P},
    "tvs": {"A": "a", "K": "k"}, "zener-12": {"A": "a", "K": "k"}, "zener-33": {"A": "a", "K": "k"}, "zener-5v6": {"A": "a", "K": "k"},
    "diode-schottky": {"A": "a", "K": "k"}, "diode-feed": {"A": "a", "K": "k"}, "diode-power": {"A": "a", "K": "k"}, "diode-fast": {"A": "a", "K": "k"}, "diode-signal": {"A": "a", "K": "k"},
    "diode-signal-schottky": {"A": "a", "K": "k"}, "led": {"A": "a", "K": "k"}, "clamp-dual": {"A": "a", "K": "k", "C": P},
    "cap-bulk": {"1": "+", "2": "-"}, "cap-tantalum": {"1": "+", "2": "-"}, "buzzer": {"1": "a", "2": "k"},
    "npn": {"B": "base", "C": "oc", "E": P}, "pnp": {"B": "base", "C": "oc", "E": P},
    "nmos": {"G": "gate", "D": "oc", "S": P}, "nmos-power": {"G": "gate", "D": "oc", "S": P}, "pmos": {"G": "gate", "D": "oc", "S": P},
    "relay": {"11": P, "14": P, "A1": P, "A2": P},
    "reg-switch-5": {"VIN": "in+", "GND": "gnd", "VOUT": "out+"}, "reg-linear-5": {"VIN": "in+", "GND": "gnd", "VOUT": "out+"},
    "reg-linear-3": {"VIN": "in+", "GND": "gnd", "VOUT": "out+"},
    "transducer-vented": {"1": "in+", "2": "out", "3": "gnd"}, "transducer-sealed": {"1": "in+", "2": "out", "3": "gnd"},
    "comparator": {"OUTA": "out", "INA-": "in", "INA+": "in", "V-": "gnd", "INB+": "in", "INB-": "in", "OUTB": "out", "V+": "in+"},
    "supervisor": {"VDD": "in+", "GND": "gnd", "RESET": "oc"},
    "adc16": {"REF": "in+", "AVDD": "in+", "AINP": "in", "AINN": "gnd", "GND": "gnd", "CONVST": "in", "DOUT": "out", "SCLK": "in", "DIN": "in", "DVDD": "in+"},
    "adc-i2c": {"ADDR": "in", "ALERT": "oc", "GND": "gnd", "AIN0": "in", "AIN1": "in", "AIN2": "in", "AIN3": "in", "VDD": "in+", "SDA": "bus", "SCL": "bus"},
    "barometer": {"VDD": "in+", "VDDIO": "in+", "GND": "gnd", "SDI": "bus", "SCK": "bus", "CSB": "in", "SDO": "in"},
    "display": {"GND": "gnd", "VCC": "in+", "SCL": "bus", "SDA": "bus"},
    "switch-key": {"A_COM": P, "A_HIGH": P, "B_COM": P, "B_LOW": P, "C_COM": P, "C_HIGH": P, "A_BENCH": P, "B_BENCH": P, "C_BENCH": P},
    "esd-quad": {"1": P, "2": P, "3": P, "4": P, "GND": "gnd"},
    "mcu-board": {**{f"GP{n}": "bus" for n in (*range(23), 26, 27, 28)}, "RUN": "in", "ADC_VREF": "out+", "3V3": "out+", "3V3_EN": "in", "VSYS": "in+",
                  "VBUS": "in+", "GND": "gnd", "AGND": "gnd"},
}

# Volts that a supply pin wants: (kind, pin) -> (least, most).
WANTS: dict[tuple[str, str], tuple[float, float]] = {
    ("reg-switch-5", "VIN"): (6.5, 28.0), ("reg-linear-5", "VIN"): (6.0, 30.0), ("reg-linear-3", "VIN"): (3.3, 6.0),
    ("transducer-vented", "1"): (4.75, 5.25), ("transducer-sealed", "1"): (4.75, 5.25), ("comparator", "V+"): (4.5, 5.5), ("supervisor", "VDD"): (4.5, 6.0),
    ("adc16", "REF"): (4.5, 5.1), ("adc16", "AVDD"): (2.4, 3.1), ("adc16", "DVDD"): (3.2, 3.6), ("adc-i2c", "VDD"): (3.2, 3.6),
    ("barometer", "VDD"): (1.8, 3.6), ("barometer", "VDDIO"): (1.8, 3.6), ("display", "VCC"): (3.2, 3.6), ("mcu-board", "VSYS"): (4.0, 5.5),
}

# Highest potential of a net in normal working, V; a transistor's output stands at its level when it is off.
LEVELS: dict[str, float] = {
    **dict.fromkeys(("GND", "PGND", "CGND", "SGND"), 0.0),
    "V12_RAW": 12.01, "V12": 12.0, "V12_AUX": 11.6, "V12_LOGIC": 11.59, "V12_CUT": 11.59, "V12_REG": 8.5, "V12_COIL": 11.59, "V12_RUN": 11.58,
    "V5": 5.0, "VSYS": 4.7, "V5_SENS": 5.0, "V5_CUT": 5.0, "V3V3": 3.3, "VA": 3.0,
    "PUMP_P": 11.9, "PUMP_N": 0.1, "V12_GATE": 10.9, "M1_G": 10.8, "Q2_C": 10.8, "Q2_B": 10.3, "Q1_C": 10.2, "K1_CLAMP": 11.4, "VENT_CLAMP": 11.4, "Q1_B": 0.6, "Q3_B": 2.7, "Q3_C": 3.2, "STORE": 3.2,
    "COIL_P": 11.5, "COIL_N": 11.5, "VENT_P": 11.5, "VENT_N": 11.5, "Q5_G": 11.58, "Q8_G": 11.59, "Q6_G": 3.3, "Q9_G": 3.3, "Q5_PULL": 11.5, "Q8_PULL": 11.5,
    "CUT_MID": 0.1, "CUT_HI": 5.0, "CUT_LO": 5.0, "Q4_B": 0.8, "Q13_B": 0.8, "Q7_B": 0.7, "Q11_B": 0.65, "LATCH_B": 0.65, "LATCH_P": 2.5, "REF": 2.6,
    "CUTOFF": 2.9, "RUN": 2.9, "ADC_B": 2.7, "ADC_SUPPLY": 3.0, "ADC_PUMP": 2.1, "SIG_A": 4.5, "MON_COIL": 2.4, "Q10_B": 0.7, "BUZZ": 0.1, "LED": 3.0,
}

# Pins tied to a level for good: (kind, pin) -> "gnd" (a return), "nc" (left open) or the supply's own pin.
STRAPS: dict[tuple[str, str], str] = {
    ("adc-i2c", "ADDR"): "gnd", ("adc-i2c", "ALERT"): "nc", ("barometer", "SDO"): "gnd", ("barometer", "CSB"): "VDDIO",
    **{("mcu-board", pin): "nc" for pin in ("RUN", "ADC_VREF", "3V3_EN", "VBUS", "AGND")}, ("mcu-board", "GND"): "gnd",
}

# What the processor's second converter reads, by channel: (firmware's name, what a walk through resistors from the pin must end at, its divider).
MONITOR = {"AIN0": ("c_signal", ("J5", "2"), 0.6), "AIN1": ("c_supply", ("U5", "VOUT"), 0.6), "AIN2": ("c_threshold", ("U4", "INA+"), 0.602),
           "AIN3": ("coil", ("K1", "A1"), 0.204)}
BUS_ROLES = {"MISO": {"DOUT"}, "SCK": {"SCLK"}, "MOSI": {"DIN"}, "CS": {"CONVST"}, "SDA": {"SDA", "SDI"}, "SCL": {"SCL", "SCK"}}
