"""Second sources: every named series with its figures is checked against every figure of the rows that use it.

Figures are from memory unless `SEEN` names the series: verify before ordering. A figure of a row is a limit of its rating (`Part.limits`);
NEEDS states in which direction a series may differ from it, or which other figure it must keep.
"""

from hardware.check import Check, listing
from hardware.circuit import Part
from hardware.params import HIGH_BAND_TOP_PA, PARAMS, fraction
from hardware.sources import KINDS

AT_LEAST, AT_MOST, SAME = "at least", "at most", "the same"

# class -> {figure: (direction, limit)}; a number in place of a name is the limit itself.
NEEDS: dict[str, dict[str, tuple[str, str | float]]] = {
    "fuse-blade": {"V": (AT_LEAST, "V"), "A": (SAME, "A"), "I2t": (AT_LEAST, "I2t")},
    "fuse-small": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A")},
    "tvs": {"V": (AT_LEAST, "V"), "W": (AT_LEAST, "W"), "clamp": (AT_MOST, "clamp")},
    "tvs-bi": {"V": (AT_LEAST, 22.0), "W": (AT_LEAST, "W"), "clamp": (AT_MOST, "clamp")},
    "cap-bulk": {"V": (AT_LEAST, "V"), "%": (AT_MOST, "%")},
    "cap-film": {"V": (AT_LEAST, "V"), "%": (AT_MOST, "%")},
    "cap-tantalum": {
        "V": (AT_LEAST, "V"),
        "%": (AT_MOST, "%"),
        "esr_low": (AT_LEAST, 0.1),
        "esr_high": (AT_MOST, 5.0),
    },
    "res-precision": {"%": (AT_MOST, "%"), "W": (AT_LEAST, "W"), "ppm": (AT_MOST, 25.0)},
    "res-power": {"%": (AT_MOST, "%"), "W": (AT_LEAST, "W")},
    "diode-feed": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A")},
    "diode-schottky": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A")},
    "diode-power": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A")},
    "diode-fast": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A")},
    "diode-signal": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A")},
    "diode-signal-schottky": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A")},
    "clamp-dual": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A")},
    "zener-12": {"V": (SAME, "V"), "W": (AT_LEAST, "W"), "tolerance": (AT_MOST, 6.0)},
    "zener-33": {"V": (SAME, "V"), "W": (AT_LEAST, "W"), "tolerance": (AT_MOST, 6.0)},
    "zener-5v6": {"V": (SAME, "V"), "W": (AT_LEAST, "W"), "tolerance": (AT_MOST, 6.0)},
    "npn": {
        "V": (AT_LEAST, "V"),
        "A": (AT_LEAST, "A"),
        "gain_low": (AT_LEAST, 200.0),
        "gain_high": (AT_MOST, PARAMS["npn_gain"].high),
    },
    "pnp": {
        "V": (AT_LEAST, "V"),
        "A": (AT_LEAST, "A"),
        "gain_low": (AT_LEAST, 200.0),
        "gain_high": (AT_MOST, PARAMS["npn_gain"].high),
    },
    "nmos": {
        "V": (AT_LEAST, "V"),
        "A": (AT_LEAST, "A"),
        "gate": (AT_LEAST, "gate"),
        "threshold": (AT_MOST, "threshold"),
    },
    "pmos": {
        "V": (AT_LEAST, "V"),
        "A": (AT_LEAST, "A"),
        "gate": (AT_LEAST, "gate"),
        "threshold": (AT_MOST, "threshold"),
    },
    "nmos-power": {
        "V": (AT_LEAST, "V"),
        "A": (AT_LEAST, "A"),
        "mohm": (AT_MOST, "mohm"),
        "degC": (AT_LEAST, "degC"),
        "gate_nc": (AT_MOST, PARAMS["mos_charge"].high * 1e9),
        "threshold_low": (AT_LEAST, PARAMS["mos_threshold"].low),
        "threshold": (AT_MOST, PARAMS["mos_threshold"].high),
    },
    "relay": {
        "V": (AT_LEAST, "V"),
        "A": (AT_LEAST, "A"),
        "release_ms": (AT_MOST, PARAMS["relay_release"].high),
        "release_v": (AT_LEAST, PARAMS["relay_drop"].low),
        "coil_low": (AT_LEAST, PARAMS["relay_coil"].low),
        "coil_high": (AT_MOST, PARAMS["relay_coil"].high),
    },
    "reg-switch-5": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A")},
    "reg-linear-5": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A"), "%": (AT_MOST, "%")},
    "reg-linear-3": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A")},
    "supervisor": {
        "V": (AT_LEAST, "V"),
        "A": (AT_LEAST, "A"),
        "threshold_low": (AT_LEAST, 4.2),
        "threshold_high": (AT_MOST, 4.5),
        "delay_ms": (AT_LEAST, 100.0),
    },
    "comparator": {
        "supply": (AT_LEAST, "supply"),
        "offset": (AT_MOST, "offset"),
        "survives": (AT_LEAST, 6.0),
        "below_rail": (AT_MOST, PARAMS["v5_sens"].low * (1 - fraction(HIGH_BAND_TOP_PA))),
    },
    "adc16": {"reference": (AT_LEAST, "reference"), "supply": (AT_LEAST, 2.625)},
    "transducer-sealed": {
        "bar": (AT_LEAST, "bar"),
        "%": (AT_MOST, "%"),
        "ms": (AT_MOST, PARAMS["c_response"].high),
    },
    "transducer-vented": {
        "bar": (AT_LEAST, "bar"),
        "%": (AT_MOST, "%"),
        "ms": (AT_MOST, PARAMS["c_response"].high),
    },
    "switch-run": {"V": (AT_LEAST, "V"), "A": (AT_LEAST, "A")},
    "switch-test": {"V": (AT_LEAST, 5.5), "A": (AT_LEAST, 0.01)},
    "adc-i2c": {"V": (AT_LEAST, "V"), "channels": (AT_LEAST, 4.0)},
    "esd-quad": {"V": (SAME, "V")},
}

# class -> series -> figures.
SERIES: dict[str, dict[str, dict[str, float]]] = {
    "fuse-blade": {
        "ATOF 25 A": {"V": 32, "A": 25, "I2t": 900},
        "FKS 25 A": {"V": 32, "A": 25, "I2t": 900},
    },
    "fuse-small": {"TR5 time-lag": {"V": 250, "A": 6.3}, "TE5 time-lag": {"V": 125, "A": 7}},
    "tvs": {
        "SMCJ15A": {"V": 15, "W": 1500, "clamp": 24.4},
        "1.5SMC18A": {"V": 15.3, "W": 1500, "clamp": 25.2},
    },
    "tvs-bi": {
        "SMBJ24CA": {"V": 24, "W": 600, "clamp": 38.9},
        "P6SMB27CA": {"V": 23.1, "W": 600, "clamp": 37.5},
    },
    "cap-bulk": {"FR": {"V": 35, "%": 20}, "PX": {"V": 35, "%": 20}, "UPW": {"V": 35, "%": 20}},
    "cap-film": {"MKS2 (PET)": {"V": 63, "%": 5}, "ECQ-V / B32529 (PET)": {"V": 63, "%": 5}},
    "cap-tantalum": {
        "TAJB475K016": {"V": 16, "%": 10, "esr_low": 0.5, "esr_high": 2.8},
        "T491B475K016AT": {"V": 16, "%": 10, "esr_low": 0.5, "esr_high": 3.5},
    },
    "res-precision": {
        "ERA-6A": {"%": 0.1, "W": 0.125, "ppm": 25},
        "RT0805B": {"%": 0.1, "W": 0.125, "ppm": 25},
        "TNPW0805": {"%": 0.1, "W": 0.125, "ppm": 25},
    },
    "res-power": {"CRCW2512": {"%": 1, "W": 1.0}, "ERJ-1T": {"%": 5, "W": 1.0}},
    "diode-feed": {"SS36": {"V": 60, "A": 3}, "B360": {"V": 60, "A": 3}},
    "diode-schottky": {"SS14": {"V": 40, "A": 1}, "B140": {"V": 40, "A": 1}},
    "diode-power": {"MBR2060CT": {"V": 60, "A": 20}, "SBR20U60CT": {"V": 60, "A": 20}},
    "diode-fast": {"US1B": {"V": 100, "A": 1}, "ES1B": {"V": 100, "A": 1}},
    "diode-signal": {"1N4148W": {"V": 75, "A": 0.15}, "BAV16W": {"V": 75, "A": 0.2}},
    "diode-signal-schottky": {"BAT54WS": {"V": 30, "A": 0.2}, "BAT42WS": {"V": 30, "A": 0.2}},
    "clamp-dual": {"BAT54S": {"V": 30, "A": 0.2}, "BAT54S of a second maker": {"V": 30, "A": 0.2}},
    "zener-12": {
        "MMSZ5242B": {"V": 12, "W": 0.5, "tolerance": 5},
        "BZT52C12": {"V": 12, "W": 0.5, "tolerance": 6},
    },
    "zener-33": {
        "BZG03C33": {"V": 33, "W": 1.25, "tolerance": 6},
        "SMAZ33": {"V": 33, "W": 1.0, "tolerance": 6},
    },
    "zener-5v6": {
        "SMAZ5V6": {"V": 5.6, "W": 1.0, "tolerance": 6},
        "BZG05C5V6": {"V": 5.6, "W": 1.25, "tolerance": 6},
    },
    "npn": {
        "BC847B": {"V": 45, "A": 0.1, "gain_low": 200, "gain_high": 450},
        "BC846B": {"V": 65, "A": 0.1, "gain_low": 200, "gain_high": 450},
    },
    "pnp": {
        "BC857B": {"V": 45, "A": 0.1, "gain_low": 220, "gain_high": 475},
        "BC856B": {"V": 65, "A": 0.1, "gain_low": 220, "gain_high": 475},
    },
    "nmos": {
        "IRLML0060": {"V": 60, "A": 2.7, "gate": 16, "threshold": 2.5},
        "AO3422": {"V": 55, "A": 2.1, "gate": 12, "threshold": 2.0},
    },
    "pmos": {
        "SI2309CDS": {"V": 60, "A": 1.6, "gate": 20, "threshold": 3.0},
        "ZXMP6A13F": {"V": 60, "A": 1.1, "gate": 20, "threshold": 3.0},
    },
    "nmos-power": {
        "CSD18532KCS": {
            "V": 60,
            "A": 100,
            "mohm": 4.2,
            "degC": 175,
            "gate_nc": 57,
            "threshold_low": 1.5,
            "threshold": 2.2,
        },
        "IPP040N06N": {
            "V": 60,
            "A": 100,
            "mohm": 4.0,
            "degC": 175,
            "gate_nc": 60,
            "threshold_low": 2.1,
            "threshold": 3.3,
        },
    },
    "relay": {
        "automotive 30 A form A, 300 ohm coil, release 10 ms at most": {
            "V": 16,
            "A": 30,
            "release_ms": 10,
            "release_v": 0.5,
            "coil_low": 300,
            "coil_high": 300,
        },
        "TRS series 12 V form A, 180 or 253 ohm, release 2 ms": {
            "V": 16,
            "A": 30,
            "release_ms": 2,
            "release_v": 0.5,
            "coil_low": 180,
            "coil_high": 253,
        },
    },
    "reg-switch-5": {
        "R-78E5.0-1.0": {"V": 28, "A": 1},
        "TSR 1-2450": {"V": 36, "A": 1},
        "K7805-1000R3": {"V": 36, "A": 1},
    },
    "reg-linear-5": {
        "LP2950ACZ-5.0 (first maker)": {"V": 30, "A": 0.1, "%": 1.2},
        "LP2950ACZ-5.0 (second maker)": {"V": 30, "A": 0.1, "%": 1.2},
    },
    "reg-linear-3": {"MCP1802T-30": {"V": 10, "A": 0.3}, "TPS7A2030": {"V": 6, "A": 0.3}},
    "supervisor": {
        "MAX803M": {
            "V": 6,
            "A": 0.02,
            "threshold_low": 4.25,
            "threshold_high": 4.5,
            "delay_ms": 140,
        },
        "TLV803M": {
            "V": 6,
            "A": 0.02,
            "threshold_low": 4.29,
            "threshold_high": 4.47,
            "delay_ms": 140,
        },
    },
    "comparator": {
        "MCP6562": {"supply": 5.5, "offset": 10, "survives": 6.5, "below_rail": 0},
        "TLV3202": {"supply": 5.5, "offset": 6, "survives": 7, "below_rail": 0},
    },
    "adc16": {
        "ADS8866 / ADS8864 (sheet seen)": {"reference": 5.1, "supply": 3.6},
        "AD7988-1 with U8 = 2.5 V": {"reference": 5.1, "supply": 2.625},
    },
    "transducer-sealed": {
        "PX3 sealed gauge 10 bar": {"bar": 20, "%": 1.0, "ms": 2.0},
        "M3200 sealed gauge 10 bar": {"bar": 20, "%": 1.0, "ms": 2.0},
    },
    "transducer-vented": {
        "M5200 gauge 10 bar 0.5-4.5 V": {"bar": 20, "%": 1.0, "ms": 1.0},
        "HSC 010BG analog 10-90 %, with a port adapter": {"bar": 17, "%": 1.0, "ms": 1.0},
    },
    "switch-run": {
        "V3 / D3V snap-action": {"V": 30, "A": 3},
        "V15 snap-action in a foot pedal": {"V": 30, "A": 5},
    },
    "switch-test": {"KS-01Q": {"V": 20, "A": 0.05}, "B3F": {"V": 24, "A": 0.05}},
    "adc-i2c": {"ADS1115": {"V": 5.5, "channels": 4}, "ADS1015": {"V": 5.5, "channels": 4}},
    "esd-quad": {"SP0504BAHT": {"V": 5}},
}

# Rejected series that do not fit, kept so that they are not proposed again: class -> series -> figures.
REFUSED: dict[str, dict[str, dict[str, float]]] = {
    "comparator": {"LMV762": {"supply": 5.0, "offset": 1, "survives": 5.5, "below_rail": 1.2}},
    "npn": {
        "MMBT3904": {"V": 40, "A": 0.2, "gain_low": 100, "gain_high": 300},
        "BC847C": {"V": 45, "A": 0.1, "gain_low": 420, "gain_high": 800},
    },
    "pnp": {"MMBT3906": {"V": 40, "A": 0.2, "gain_low": 100, "gain_high": 300}},
    "reg-linear-5": {"L78L05": {"V": 30, "A": 0.1, "%": 5}},
    "nmos-power": {
        "IRFZ44N": {"V": 55, "A": 49, "mohm": 17.5, "degC": 175, "gate_nc": 63, "threshold": 4.0}
    },
    "nmos": {"SI2308BDS": {"V": 60, "A": 2.3, "gate": 20, "threshold": 3.0}},
    "relay": {"T9A": {"V": 16, "A": 30, "release_ms": 15, "coil_low": 155, "coil_high": 155}},
    "clamp-dual": {"BAS40-04": {"V": 40, "A": 0.12}},
}

# Classes with no series figures to check: chosen by size or standard, nothing in their rating is near a stress.
BY_SIZE = (
    "conn-power",
    "conn-small",
    "net-tie",
    "cap-ceramic",
    "res",
    "barometer",
    "mcu-board",
    "display",
    "switch-key",
    "button",
    "buzzer",
    "led",
)


def fits(kind: str, figures: dict[str, float], parts: dict[str, Part]) -> list[str]:
    """Figures in which a series fails one of the rows of its class."""
    wrong = []
    for part in (p for p in parts.values() if p.kind == kind):
        for figure, (way, limit) in NEEDS[kind].items():
            wanted = part.limits[limit] if isinstance(limit, str) else limit
            has = figures.get(figure)
            if has is None:
                wrong.append(f"{part.ref}: {figure} is not stated")
            elif (
                (way == AT_LEAST and has < wanted)
                or (way == AT_MOST and has > wanted)
                or (way == SAME and has != wanted)
            ):
                wrong.append(f"{part.ref}: {figure} {has:g}, {way} {wanted:g} wanted")
    return wrong


def sources_fit(parts: dict[str, Part]) -> Check:
    """Check that every named series keeps every figure of every row of its class."""
    wrong = [
        f"{kind} {name}: {'; '.join(sorted(set(bad)))}"
        for kind, rows in SERIES.items()
        for name, figures in rows.items()
        if (bad := fits(kind, figures, parts))
    ]
    return Check(
        "sources: every named series keeps every figure of its rows",
        not wrong,
        listing(wrong)
        if wrong
        else f"{sum(map(len, SERIES.values()))} series of {len(SERIES)} classes",
    )


def all_figures_used(parts: dict[str, Part]) -> Check:
    """Check that every figure of every rating is required of the series, and that the series named to the buyer are the checked ones."""
    wrong = []
    for kind in sorted({p.kind for p in parts.values()} - set(BY_SIZE)):
        used = {limit for _, limit in NEEDS.get(kind, {}).values() if isinstance(limit, str)} | set(
            NEEDS.get(kind, {})
        )
        wrong += [
            f"{p.ref}: {key} is asked of nothing"
            for p in parts.values()
            if p.kind == kind
            for key in p.limits
            if key not in used
        ]
        if set(KINDS[kind].series) != set(SERIES.get(kind, {})):
            wrong.append(f"{kind}: other series are named than checked")
    wrong += [
        f"{kind} {name}: refused and named"
        for kind, rows in REFUSED.items()
        for name in rows
        if name in SERIES[kind]
    ]
    return Check("sources: every figure of every rating is asked", not wrong, listing(wrong))


RULES = (sources_fit, all_figures_used)
