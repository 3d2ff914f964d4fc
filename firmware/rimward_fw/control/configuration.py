"""Hardware configurations of the inflator: one table of numbers that arming turns into the kernels' slow words.

Pressures in Pa gauge, times in ticks of 2 ms, air in 1/64 mL of free air. A row is a dict so that tools can print it.
"""

import struct

from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from rimward_protocol.shapes import Record

COMPRESSOR = 0
LINE = 1

# Uncalibrated transducers, 0.1 to 0.9 of supply over 0 to 10 bar: Pa = (word * GAIN >> 9) + OFF.
GAIN = 9766
OFF_VENTED = -125_012  # zero pressure at 10 % of the supply
OFF_SEALED = (
    OFF_VENTED + 101_325
)  # sealed reference: one standard atmosphere; the guard corrects with the barometer
GUARD_BAND_PA = 10_000  # class bound of such a pair: 1 % of 10 bar

# Share of delivery lost, in 1/1024. Compressor with 19 % clearance and polytropic exponent 1.3: at absolute pressure 1, 2 .. 12 times the
# ambient. Line through restrictor and valves with critical ratio 0.3: at 1, 2 .. 12 tenths of the supply. Our assumptions.
LOSS_COMPRESSOR = (0, 135, 256, 367, 471, 571, 668, 761, 851, 940, 1024, 1024)
LOSS_LINE = (0, 0, 0, 10, 43, 99, 186, 307, 490, 1024, 1024, 1024)

HARDWARE = (
    {
        "kind": COMPRESSOR,
        "delivery": 64,  # at no back pressure: 30 L/min
        "delivery_per_bar": 0,
        "delivery_percent": 15,  # tolerance of this source, for the volume check
        "loss": LOSS_COMPRESSOR,
        "horizon": 25,  # transducer 3, filter 4, gate 4, coast 11, a tick each way, age of a sample 1 (kernels/tick.py)
        "overrun": 16,  # ticks of full delivery that may still come after a stop and before it is read
        "coast": 22,  # ticks from full speed to standstill, delivery falling linearly
        "drop": 820,  # flow drop of hose, chuck and core at sea level, see `kernels/fill.py`
        "spin": 40,  # time constant of the start
        "manifold_ml": 60,
        "path": 308,  # hose, chuck and core in series: 0.23 dm3/(s bar)
        "crack_pa": 20_000,  # of the valve core under a pressure-open chuck
    },
    {
        "kind": LINE,
        "delivery": 0,
        "delivery_per_bar": 2560,  # 1/100 of a unit for each bar of absolute supply: 0.2 dm3/(s bar)
        "delivery_percent": 35,  # chopped valves are counted roughly
        "air_percent": 600,  # air budget as a share of the low volume at its ceiling: the guard counts whole ticks of a valve that is open for six at a time
        "supply_pa": 900_000,
        "loss": LOSS_LINE,
        "horizon": 23,
        "overrun": 27,  # slowest valves of their class: dead time 25, travel 20 ms; tests/trust/closed_bounds.py adds them up
        "coast": 8,
        "drop": 820,
        "spin": 6,
        "manifold_ml": 60,
        "path": 308,  # hose, chuck and core in series: 0.23 dm3/(s bar)
        "crack_pa": 20_000,
    },
)


def source(value: bytes) -> "Record":
    """Row that the stored setting selects, with its delivery (mL/min at no back pressure) or supply (Pa); 0 keeps the built-in value."""
    kind, delivery, supply = struct.unpack("<BII", value) if len(value) == 9 else (COMPRESSOR, 0, 0)
    row = HARDWARE[kind if kind < len(HARDWARE) else COMPRESSOR]
    if kind == COMPRESSOR and delivery:
        row = dict(row)
        row["delivery"] = delivery * 64 // 30_000
    elif kind == LINE and supply:
        row = dict(row)
        row["supply_pa"] = supply
    return row


# Heat from air to casing, for 1148.7 mL: conductance in mW/K, heat capacity of the casing in J/K. Both scale with the square root of
# the volume, as the surface of a torus of given diameter does. Our assumption.
HEAT_ML_X10 = 11487
GAS_MW_K = 1500
CASING_J_K = 500
