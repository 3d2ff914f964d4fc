"""What is recorded: wheels, conditions and faults, one session each. The records come from the simulated plant, not from a workshop."""

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Case:
    """One recorded session. `person`: what the operator does, a name in `record.PERSONS`."""

    name: str
    tyre: str = "28-622"
    rim: str = "622x23TSS"
    limit: str = "5 bar"
    target: str = "3.9 bar"
    chuck: str = "pressure-open"
    source: str = "compressor"
    start_bar: float = 0.0
    temp_c: float = 18.0
    altitude_m: float = 200.0
    range_high: bool = False
    fault: str = ""
    at_s: float = 6.0
    severity: float = 0.5
    person: str = "patient"
    plant: dict[str, Any] = field(default_factory=dict)


WHEELS = (
    Case("road-23", "23-622", "622x15C", "8 bar", "6.5 bar", range_high=True),
    Case("road-25", "25-622", "622x17C", "8 bar", "6 bar", range_high=True),
    Case("road-28-hooked", "28-622", "622x19C", "7 bar", "5.5 bar", range_high=True),
    Case("road-28"),
    Case("road-30", "30-622", target="3.4 bar"),
    Case("road-32", "32-622", target="3 bar"),
    Case("gravel-40", "40-622", "622x23TSS", "4 bar", "2.4 bar"),
    Case("gravel-45", "45-622", "622x25TSS", "3.5 bar", "2 bar"),
    Case("trail-57", "57-622", "622x30TSS", "2.8 bar", "1.7 bar"),
    Case("small-40-406", "40-406", "406x21C", "4.8 bar", "3.5 bar"),
    Case("tall-47-584", "47-584", "584x25TSS", "3.5 bar", "2.2 bar"),
)
CONDITIONS = (
    Case("cold", temp_c=4.0),
    Case("hot", temp_c=33.0),
    Case("high", altitude_m=1900.0, target="3.7 bar"),
    Case("pin-open", chuck="pin-open"),
    Case("half-full", start_bar=2.0),
    Case("half-full-pin-open", chuck="pin-open", start_bar=2.0),
    Case("nearly-full", start_bar=3.7),
    Case("line", source="line"),
    Case("line-pin-open", source="line", chuck="pin-open"),
    Case("line-40", "40-622", "622x23TSS", "4 bar", "2.4 bar", source="line"),
    Case("weak-pump", plant={"fad_l_min": 25.5}),
    Case("strong-pump", plant={"fad_l_min": 34.5}),
    Case("lets-go-often", person="fidgety"),
    Case("lets-go-often-pin-open", chuck="pin-open", person="fidgety"),
    Case("walks-away", person="walks-away"),
    Case("never-confirms", person="never-confirms"),
    Case("above-target", chuck="pin-open", start_bar=4.2),
)
FAULTS = tuple(
    Case(f"{name}{'-late' if late else ''}", fault=name, at_s=12.0 if late else 5.0, severity=0.7 if late else 0.4)
    for name, late in (
        ("gate_stuck_on", False), ("relay_stuck_on", False), ("both_stuck_on", False), ("solenoid_leaking", False),
        ("hose_kinked", False), ("hose_pulled_off", False), ("hose_cracked", False), ("hose_detached", False),
        ("core_stuck_shut", False), ("slow_puncture", False), ("fast_puncture", False), ("fast_puncture", True), ("blow_off", False),
        ("a_stuck", False), ("a_open", False), ("a_shorted", False), ("a_offset", False), ("a_offset", True), ("a_drift", False),
        ("a_noisy", False), ("a_late", False), ("a_tap_blocked", False), ("b_stuck", False), ("b_stuck", True), ("b_open", False),
        ("b_shorted", False), ("b_offset", False), ("b_drift", False), ("b_noisy", False), ("b_late", False), ("b_tap_blocked", False),
        ("barometer_dead", False), ("barometer_wrong", False), ("brown_out", False), ("vent_blocked", False), ("both_drift", False),
        ("core_stuck_open", False),
    )
)  # fmt: skip
CASES = WHEELS + CONDITIONS + FAULTS
