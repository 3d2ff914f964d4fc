"""Simulated check-out: each step measured on a sound unit and on units with the faults that it has to find.

A unit is a circuit and what is connected to it. A step's figure comes from ngspice or from the formulas, its limits from the printed sheet.
"""

from collections.abc import Callable
from dataclasses import dataclass

from hardware import air, chain, cutoff, gate
from hardware.checkout_unit import (
    Unit,
    bridged,
    coupling_v,
    cutoff_supply_v,
    drop_out_ms,
    fly_back_v,
    holds_pa,
    keys_differ,
    relief_pa,
    returns,
    source_stays_off,
    steady_v,
    taps_right,
    test_trip,
    three_apart_pa,
    trip,
    trip_coil_v,
    vent_balance_pa,
    vent_time_ratio,
    with_pins,
    with_value,
)
from hardware.params import PARAMS
from hardware.shared import LEAD_PA


@dataclass(frozen=True)
class Trial:
    """One step: measurement, its limits, the hazard rows based on it, and the faulty units that it has to detect."""

    measure: Callable[[Unit], float]
    low: float
    high: float
    unit: str
    faults: dict[str, Unit]
    rows: tuple[str, ...] = ()


def _gate_trials() -> dict[str, Trial]:
    """Supplies and the pulse gate."""
    g = gate.report()
    return {
        "dead": Trial(
            source_stays_off,
            0,
            0,
            "elements on",
            {
                "Q6 joined through": bridged("COIL_N", "PGND"),
                "M1 joined through": bridged("PUMP_N", "PGND"),
            },
            ("H20",),
        ),
        "supplies": Trial(
            cutoff_supply_v,
            4.75,
            5.25,
            "V",
            {"U5 joined through": bridged("V12_REG", "V5_CUT")},
            ("H115",),
        ),
        "drop_out": Trial(
            drop_out_ms,
            g["gate_min_ms"],
            g["gate_max_ms"],
            "ms",
            {
                "R4 open": with_pins("R4", **{"1": "NC1"}),
                "C12 of 680 nF": with_value("C12", "680n"),
                "C12 of 150 nF": with_value("C12", "150n"),
            },
            ("H15",),
        ),
        "coupling": Trial(
            coupling_v,
            -0.1,
            0.3,
            "V",
            {
                "C10 joined through": Unit(fault=chain.Fault(nets=("GATE", "GP_A"))),
                "C11 joined through": Unit(fault=chain.Fault(nets=("GP_A", "GP_B"))),
            },
            ("H14",),
        ),
    }


def _coil_trials() -> dict[str, Trial]:
    """Coils, and who sees which tap."""
    return {
        "fly_back": Trial(
            fly_back_v,
            38.0,
            55.0,
            "V",
            {
                "D10 joined through": Unit(fault=chain.Fault(nets=("COIL_P", "K1_CLAMP"))),
                "D9 open": with_pins("D9", A="LOOSE"),
                "D10 open": with_pins("D10", A="LOOSE"),
            },
            ("H18", "H19"),
        ),
        "steady": Trial(
            steady_v,
            -1.0,
            1.0,
            "V",
            {
                "Q3 joined through": Unit(fault=chain.Fault(nets=("Q3_C", "V3V3"))),
                "Q2 joined through": Unit(fault=chain.Fault(nets=("Q2_C", "V12_GATE"))),
            },
            ("H09", "H16"),
        ),
        "taps": Trial(
            taps_right,
            3,
            3,
            "of 3",
            {
                "A and C plugs crossed": Unit(
                    taps=(("A", "port and tap C"), ("B", "tap B"), ("C", "tap A"))
                ),
                "C on the tap of A": Unit(taps=(("A", "tap A"), ("B", "tap B"), ("C", "tap A"))),
            },
            ("H84",),
        ),
    }


def _trip_trials() -> dict[str, Trial]:
    """Trips of the independent cutoff."""
    low, high = cutoff.band(False), cutoff.band(True)
    return {
        "trip_low": Trial(
            lambda u: trip(u, False),
            low[0],
            low[2],
            "Pa",
            {
                "R36 of 11k": with_value("R36", "11k"),
                "C reads 0.3 bar low": Unit(c_error_fs=-0.03),
                "C sealed, 3000 m": Unit(sealed_at_m=3000.0),
            },
            ("H49", "H50"),
        ),
        "trip_high": Trial(
            lambda u: trip(u, True),
            high[0],
            high[2],
            "Pa",
            {"R38 of 1.8k": with_value("R38", "1.8k"), "R38 of 2.7k": with_value("R38", "2.7k")},
            (),
        ),
        "trip_all": Trial(
            trip_coil_v,
            -0.5,
            0.5,
            "V",
            {
                "Q5 joined through": bridged("COIL_P", "V12_RUN"),
                "Q8 joined through": bridged("V12_COIL", "VENT_P"),
                "Q4 collector on base": bridged("Q4_B", "Q5_PULL"),
                "Q12 open": Unit(fault=chain.Fault(pin=("Q12", "C"))),
            },
            ("H52", "H85", "H111"),
        ),
    }


def _test_trials() -> dict[str, Trial]:
    """Daily test, and return after an interruption of the supply."""
    test = cutoff.test_band()
    return {
        "test_button": Trial(
            test_trip,
            test[0],
            test[2],
            "Pa",
            {
                "R32 of 8.2k": with_value("R32", "8.2k"),
                "R36 open": with_value("R36", "1000M"),
                "C stuck": Unit(c_error_fs=1.0),
                "pole A of the key bridged": bridged("V5_CUT", "KEY_REF"),
                "tap C blocked": Unit(taps=(("A", "tap A"), ("B", "tap B"), ("C", ""))),
            },
            ("H51", "H54", "H56", "H133", "H134"),
        ),
        "power_cycle": Trial(
            returns,
            9.0,
            13.0,
            "V",
            {"U10's wire open": with_pins("U10", RESET="NC1")},
            ("H86", "H139"),
        ),
    }


def _valve_trials() -> dict[str, Trial]:
    """Relief valves, vent and inlet."""
    relief_low, relief_high = PARAMS["relief_low"], PARAMS["relief_high"]
    return {
        "relief_low": Trial(
            lambda u: relief_pa(u, False),
            relief_low.low,
            relief_low.high,
            "Pa",
            {
                "RV1 stuck": Unit(relief_low_pa=1e9),
                "RV1 set low": Unit(relief_low_pa=550e3),
                "vent not fed by the bench plug": Unit(vent_fed=False),
            },
            ("H58", "H59"),
        ),
        "relief_high": Trial(
            lambda u: relief_pa(u, True),
            relief_high.low,
            relief_high.high,
            "Pa",
            {"RV2 set high": Unit(relief_high_pa=1.15e6), "RV2 stuck": Unit(relief_high_pa=1e9)},
            (),
        ),
        "balance": Trial(
            vent_balance_pa,
            0.0,
            max(air.vented_gauge_pa(line) for line in (False, True)),
            "Pa",
            {"RO1 left out": Unit(inlet_c=0.8), "vent half clogged": Unit(vent_c=0.4)},
            ("H62", "H05"),
        ),
        "vent_flow": Trial(
            vent_time_ratio,
            0.0,
            air.VENT_LIMIT,
            "of the baseline",
            {"vent half clogged": Unit(vent_c=0.4), "silencer clogged to 60 %": Unit(vent_c=0.48)},
            ("H05",),
        ),
    }


def _reading_trials() -> dict[str, Trial]:
    """Return what the processor reads, and what holds air."""
    return {
        "holds": Trial(
            holds_pa,
            290_000.0,
            310_000.0,
            "Pa",
            {
                "vent coil's wire off": Unit(fault=chain.Fault(pin=("J4", "1"))),
                "Q8 open": Unit(fault=chain.Fault(pin=("Q8", "S"))),
            },
            ("H06",),
        ),
        "three": Trial(
            three_apart_pa,
            0.0,
            LEAD_PA,
            "Pa",
            {
                "C reads 0.4 bar low": Unit(c_error_fs=-0.04),
                "R81 open": Unit(fault=chain.Fault(pin=("R81", "1"))),
                "R83 of 120k": with_value("R83", "120k"),
                "R57 of 20k": with_value("R57", "20k"),
            },
            ("H118", "H135"),
        ),
        "key": Trial(
            keys_differ,
            1,
            1,
            "yes",
            {"contacts bridged": bridged("KEY_LOW_W", "KEY_HIGH_W")},
            ("H55",),
        ),
    }


def trials() -> dict[str, Trial]:
    """Every measuring step, by the key in the sheet."""
    parts = (_gate_trials, _coil_trials, _trip_trials, _test_trials, _valve_trials, _reading_trials)
    return {key: trial for part in parts for key, trial in part().items()}


def passes(key: str, unit: Unit) -> bool:
    """Return True if a unit passes a step."""
    t = trials()[key]
    return t.low - 1e-9 <= t.measure(unit) <= t.high + 1e-9


def run() -> list[dict[str, object]]:
    """Run every step on the sound unit and on every faulty one."""
    rows: list[dict[str, object]] = []
    for key, t in trials().items():
        rows.append(
            {
                "step": key,
                "unit": "sound",
                "measured": t.measure(Unit()),
                "low": t.low,
                "high": t.high,
                "passes": passes(key, Unit()),
                "wanted": True,
            }
        )
        rows += [
            {
                "step": key,
                "unit": name,
                "measured": t.measure(u),
                "low": t.low,
                "high": t.high,
                "passes": passes(key, u),
                "wanted": False,
            }
            for name, u in t.faults.items()
        ]
    return rows
