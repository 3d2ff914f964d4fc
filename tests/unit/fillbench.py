"""A fill on the plant with the person's hands in the test: plain Python, one tick at a time."""

from array import array

from rimward.simulation.loop import Job, armed
from rimward.simulation.plant import layout
from rimward.simulation.plant.step import plant_tick
from rimward.simulation.plant.tyre import settled_pressure
from rimward_fw.kernels import fill, guard
from rimward_fw.kernels.order import couple as tick
from rimward_protocol import kernel_slots as slots
from rimward_protocol.kernel_words import FILL_INPUT, FILL_STATE

CONFIRM, BLEED, STOP = 64, 128, 256
ON = 3


def words(state: dict[str, int], inputs: dict[str, int]) -> tuple[array, array]:
    """State and inputs of the fill controller with these words, all others 0."""
    f, y = array("i", [0] * len(FILL_STATE)), array("i", [0] * len(FILL_INPUT))
    for names, values, place in ((FILL_STATE, state, f), (FILL_INPUT, inputs, y)):
        for name, value in values.items():
            place[names.index(name)] = value
    return f, y


class Fill:
    """Kernels and plant of one job. `hold` is the person: run control, buttons, hose."""

    def __init__(self, job: Job):
        words = armed(job)
        self.g, self.x, self.f, self.y, self.w = (
            array("i", a.tobytes()) for a in (words.g, words.x, words.f, words.y, words.w)
        )
        self.s, self.p, self.fault = words.s.tolist(), words.p.tolist(), words.fault.tolist()
        self.high = layout.RANGE_HIGH if job.ceiling_pa > 500_000 else 0
        self.drive, self.ticks, self.on, self.vented, self.peak = 0, 0, 0, 0, 0.0

    def __getattr__(self, name):
        return self.f[FILL_STATE.index(name)]

    @property
    def tyre(self):
        return self.s[layout.S_PT] - self.p[layout.P_AMB]

    def go(self, ticks, run=True, buttons=0, attached=True, until=None, extra=0):
        """Run this many ticks, or until `until(self)`. Return how many ran."""
        controls = (
            (layout.RUN if run else 0) | (layout.ATTACHED if attached else 0) | self.high | extra
        )
        for n in range(ticks):
            plant_tick(self.s, self.p, self.fault, self.drive, controls, self.x, self.w)
            self.x[slots.X_SW] = self.w[layout.W_SW] | buttons
            bits = tick(guard.step, fill.step, self.g, self.x, self.f, self.y)
            self.drive = bits & 7 | (bits >> 9 & 1) << 2
            self.ticks += 1
            self.on += bits & ON == ON
            self.vented += bits >> 9 & 1
            self.peak = max(self.peak, self.tyre)
            if until is not None and until(self):
                return n + 1
        return ticks

    def settled(self):
        """Reading of the tyre once everything is at room temperature, Pa gauge."""
        return settled_pressure(self.s, self.p) - self.p[layout.P_AMB]


def start(job, ticks=300):
    """A job with the hose on and the run control open for a while, as people do."""
    one = Fill(job)
    one.go(ticks, run=False)
    return one
