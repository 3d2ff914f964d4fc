"""Simulated world as one object: `Plant`."""

from array import array
from typing import Any, NamedTuple

import numpy as np
from rimward_protocol.kernel_slots import X_A, X_B, X_SUPPLY

from rimward.simulation.plant import layout as k
from rimward.simulation.plant.air import keep_roots
from rimward.simulation.plant.arrays import healthy, parameters, start_state
from rimward.simulation.plant.params import PlantParams
from rimward.simulation.plant.step import fault_events, plant_tick
from rimward.simulation.plant.tyre import put_tyre, settled_pressure


class Reading(NamedTuple):
    """Inputs of the board after a tick, and the true state for the test harness."""

    a: int  # Q16 share of supply
    b: int  # Q16 share of supply
    supply: int  # 64 mV
    ambient_pa: int  # barometer, 0 when dead
    air_ck: int  # centikelvin, 0 when dead
    switches: int  # SW_RUN, SW_KEY_LOW, SW_KEY_HIGH, SW_CUTOFF
    tick_us: int  # true length of the tick
    true: int  # AIR_IN, CONTACT_SHUT ... of `layout`; a board never sees these


class Plant:
    """Compressor or line, manifold, hose, valve, tyre and room, advanced one tick at a time.

    The same seed gives the same words in either engine. `compiled=True` needs numba; without it the step runs as plain Python.
    `faults` are schedule rows (tick, fault field, value), see `rimward.simulation.plant.faults.events`.
    """

    def __init__(
        self, params: PlantParams, seed: int = 0, faults: Any = (), compiled: bool = False
    ) -> None:
        self.params = params
        self.tick_count = 0
        rows = sorted((float(t), float(f), float(v)) for t, f, v in faults)
        self._buffers: list[Any] = [
            array("d", part.tobytes())
            for part in (start_state(params, seed), parameters(params), healthy())
        ]
        self._buffers += [array("i", bytes(4 * n)) for n in (k.X_SIZE, k.W_SIZE)]
        self.S, self.P, self.F = (np.frombuffer(b, dtype=np.float64) for b in self._buffers[:3])
        self.x, self.w = (np.frombuffer(b, dtype=np.int32) for b in self._buffers[3:])
        self._tick: Any = plant_tick
        self._events: Any = fault_events
        self._rows: Any = rows
        self._args: list[Any] = list(self._buffers)
        if compiled:
            self._compile(rows)

    def _compile(self, rows: list[tuple[float, float, float]]) -> None:
        from rimward.simulation.plant import compiled

        self._tick, self._events = compiled.plant_tick, compiled.fault_events
        self._rows = np.array(rows, dtype=np.float64).reshape(len(rows), 3)
        self._args = [self.S, self.P, self.F, self.x, self.w]

    def tick(self, drive: int, controls: int) -> Reading:
        """One tick with the board's outputs `drive` (GATE, RELAY, VENT) and the person's `controls` (RUN, ATTACHED, ...)."""
        s, p, f, x, w = self._args
        if len(self._rows):
            self._events(s, f, self._rows, self.tick_count)
        true = self._tick(s, p, f, drive, controls, x, w)
        self.tick_count += 1
        x, w = self._buffers[3:]
        return Reading(x[X_A], x[X_B], x[X_SUPPLY], w[0], w[1], w[2], w[3], int(true))

    @property
    def tyre_pa(self) -> float:
        """True tyre pressure, Pa gauge."""
        return float(self._buffers[0][k.S_PT] - self._buffers[1][k.P_AMB])

    @property
    def peak_pa(self) -> float:
        """Highest true tyre pressure so far, Pa gauge."""
        return float(self._buffers[0][k.S_PEAK] - self._buffers[1][k.P_AMB])

    @property
    def manifold_pa(self) -> float:
        """True manifold pressure, Pa gauge."""
        return float(self._buffers[0][k.S_PM] - self._buffers[1][k.P_AMB])

    @property
    def air_k(self) -> float:
        """Temperature of the air in the tyre, K."""
        return float(self._buffers[0][k.S_TT])

    @property
    def settled_pa(self) -> float:
        """Pressure in the tyre once its air is at room temperature, volume growth included, Pa gauge."""
        s, p = self._buffers[:2]
        return float(settled_pressure(s, p) - p[k.P_AMB])

    def set_tyre(self, tyre_pa: float, tyre_k: float | None = None) -> None:
        """Put the tyre at `tyre_pa` (Pa gauge), at room temperature unless given; the casing follows."""
        kelvin = self.params.room_k if tyre_k is None else tyre_k
        put_tyre(self.S, self.P, tyre_pa + self.P[k.P_AMB], kelvin)
        keep_roots(self.S, self.P)

    def copy(self) -> tuple[int, bytes, bytes, bytes, bytes]:
        """Return the complete state; after `restore` the same words follow."""
        s, _, f, x, w = self._buffers
        return self.tick_count, s.tobytes(), f.tobytes(), x.tobytes(), w.tobytes()

    def restore(self, saved: tuple[int, bytes, bytes, bytes, bytes]) -> None:
        """Restore a state returned by `copy`."""
        self.tick_count = saved[0]
        views: list[Any] = [self.S, self.F, self.x, self.w]
        for view, raw in zip(views, saved[1:], strict=True):
            view[:] = np.frombuffer(raw, dtype=view.dtype)
