"""The firmware's measurement of the independent cutoff through converter U9: dividers and levels of the circuit, faults of the
measurement and of C.
"""

from dataclasses import dataclass

from rimward.simulation.plant import Plant
from rimward.simulation.plant import layout as k

STEP_V = 125e-6
SIGNAL, SUPPLY, THRESHOLD, COIL = (
    0.6,
    0.6,
    0.579,
    0.204,
)  # shares of the signal at the pins; a test compares them with the circuit
TEST_PA = 213_550.0  # pressure at which it opens with the test button held; likewise
COIL_V = 11.4  # 12 V less protection and Q5


@dataclass
class CutoffCircuit:
    """One unit. `c_error_pa`, `c_stuck_pa`: transducer C, whose error also shifts the trip; the other fields replace values at the pins."""

    plant: Plant
    c_error_pa: float = 0.0
    c_stuck_pa: float | None = None
    supply_v: float = 5.0
    threshold: float | None = None
    coil_v: float | None = None
    silent: bool = False
    latches: bool = True
    _pressed: bool = False

    def __post_init__(self) -> None:
        self._trip = float(self.plant.P[k.P_CUT_LOW]), float(self.plant.P[k.P_CUT_HIGH])

    def test(self, pressed: bool) -> None:
        """Set the trip of the cutoff before a tick, button and errors of C included."""
        never = 1e9 if self.c_stuck_pa is not None else 0.0
        low, high = (TEST_PA, TEST_PA) if pressed else self._trip
        self.plant.P[k.P_CUT_LOW], self.plant.P[k.P_CUT_HIGH] = (
            low - self.c_error_pa + never,
            high - self.c_error_pa + never,
        )
        if not self.latches and self.plant.S[k.S_CUT_PA] - self.plant.P[k.P_AMB] < TEST_PA / 2:
            self.plant.S[k.S_CUT] = 0.0

    def words(self, run: bool, high: bool, pressed: bool) -> tuple[int, int, int, int]:
        """Signal, supply, threshold and coil as converter words."""
        gauge = float(self.plant.S[k.S_CUT_PA] - self.plant.P[k.P_AMB])
        pa = self.c_stuck_pa if self.c_stuck_pa is not None else gauge + self.c_error_pa
        nominal = TEST_PA if pressed else self._trip[1 if high else 0]
        share = 0.1 + 0.8 * nominal / 1e6 if self.threshold is None else self.threshold
        fed = COIL_V if run and self.plant.S[k.S_CUT] == 0.0 else 0.0
        coil = fed if self.coil_v is None else self.coil_v
        volts = (
            (0.1 + 0.8 * pa / 1e6) * self.supply_v * SIGNAL,
            self.supply_v * SUPPLY,
            share * self.supply_v * THRESHOLD,
            coil * COIL,
        )
        signal, supply, threshold, at_coil = (
            max(-32768, min(32767, round(v / STEP_V))) for v in volts
        )
        return signal, supply, threshold, at_coil
