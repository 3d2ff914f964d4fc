"""Limits of the bring-up steps from the hardware data: `python -m hardware.bringup --write` makes host/rimward/device/bringup/bringup.json.

The installed package contains no hardware data, so it keeps its own table; a test compares it with this module's result.
"""

import json
import sys
from pathlib import Path

from hardware import checkout_sim, gate
from hardware.params import PARAMS
from hardware.shared import LEAD_PA
from hardware.single_faults import LIMITS

TABLE = Path(__file__).parents[1] / "host" / "rimward" / "device" / "bringup" / "bringup.json"
TICK_US = 400  # longest tick: 300 counted and flash waits, as measured from outside
PUMPED_PA, HELD_PA = 100_000.0, 300_000.0
GAUGE_PA = 10_000.0  # reference gauge, reading and class of an uncalibrated transducer


def limits() -> dict[str, tuple[float, float]]:
    """Step -> (lowest, highest), in the step's unit."""
    found = {
        key: (t.low, t.high)
        for key, t in checkout_sim.trials().items()
        if key in ("drop_out", "coupling", "fly_back", "steady", "trip_low", "test_button")
    }
    v12 = PARAMS["v12"]
    return found | {
        "run": (1, 1),
        "key": (1, 1),
        "closed": (1, 1),
        "latch": (1, 1),
        "power_cycle": (1, 1),
        "self_test": (1, 1),
        "stops": (1, 1),
        "pump_supply": (v12.low, v12.high),
        "supplies": LIMITS["c_supply_v"],
        "threshold": LIMITS["threshold"],
        "zero": (0.0, GAUGE_PA),
        "tick": (1.0, TICK_US),
        "relay": (0.5, gate.report()["relay_max_ms"]),
        "polarity": (PUMPED_PA - LEAD_PA, PUMPED_PA + LEAD_PA),
        "holds": (-10_000.0, 10_000.0),
        "three": (0.0, LEAD_PA),
        "vent_flow": (10.0, 400.0),
    }


def text() -> str:
    """Return the table as JSON."""
    return (
        json.dumps(
            {key: [round(low, 4), round(high, 4)] for key, (low, high) in sorted(limits().items())},
            indent=1,
        )
        + "\n"
    )


if __name__ == "__main__":
    if "--write" in sys.argv:
        TABLE.write_text(text(), encoding="utf-8")
    else:
        print(text(), end="")
