"""Proof bench on the host: its profile, and a virtual bench for trials.

The virtual fixture is stiff and air-tight. A specimen filled with water is, for the air side, the small air volume of the transfer bottle,
which `tyre_ml` then is; `rimward.proof.specimen` sets how it slips, leaks and leaves its rim.
"""

import hashlib
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rimward_fw.bench import app as firmware
from rimward_protocol import codes, enumerations
from rimward_protocol.profile import tag_profile

from rimward.base.errors import Refusal
from rimward.base.units import parse_pressure, show_limit, show_minimum
from rimward.device.link import verbs
from rimward.formats.records import pack_profile
from rimward.kernels import bench as bench_build
from rimward.limits.ceiling import Rim, Tyre
from rimward.proof import reach
from rimward.simulation.plant import PlantParams, line
from rimward.simulation.virtual import VirtualInflator, Where
from rimward.simulation.virtual.setup import confirm
from rimward.wheels.keys import Ring, next_issue

BOTTLE_ML = 250  # transfer bottle: the only air above a specimen full of water
KPA = 1_000
DAY_S = 86_400
PRESS_TICKS = 100


@dataclass(frozen=True)
class Test:
    """One test. Pressures gauge pascals; `top_pa` None for retention alone; `air_ml` is the air behind the chuck."""

    limit_pa: int
    top_pa: int | None = None
    air_ml: int = BOTTLE_ML
    label: str = "specimen"
    wheel_id: bytes = b"specimen"
    revision: int = 1
    seat_pa: int = 0
    medium: str = ""  # filling medium of the specimen, where known
    rim_inner_mm: float | None = None
    rim_type: str = "unknown"
    tyre_width_mm: float = 28.0
    bead_seat_mm: int = 622
    limit_source: int = codes.LIMIT_RIM_MARKED
    columns: tuple[tuple[str, str], ...] = ()  # more columns of the row, as batch or serials
    gauge_pa: int = firmware.BAND_PA  # U of the bench's gauge: its guard band
    thinned: bool = (
        False  # the bench's own record may keep every eighth sample of what the computer has
    )

    @property
    def last_pa(self) -> int:
        """Highest level, Pa gauge."""
        return max(self.top_pa or 0, self.hold_pa)

    @property
    def hold_pa(self) -> int:
        """The reading at which 110 % is held: the gauge's U above it."""
        return self.retention_pa + self.gauge_pa

    @property
    def retention_pa(self) -> int:
        """110 % of the limit, Pa gauge."""
        return int(firmware.retention_pa(self.limit_pa))

    @property
    def seating_pa(self) -> int:
        """Pressure at which the beads are inspected, Pa gauge."""
        return self.seat_pa or min(self.limit_pa // 2, codes.SEAT_PAUSE_MAX_PA)

    def levels(self) -> list[tuple[str, int, int]]:
        """Return (name, gauge Pa, seconds held) of each level in the order of the bench's firmware."""
        retention, step = self.hold_pa, firmware.STEP_PA
        found = [
            ("seating", self.seating_pa, firmware.SEAT_S),
            ("limit", self.limit_pa, firmware.LIMIT_S),
        ]
        found.append(
            (f"retention, {firmware.RETENTION_PERCENT} % + U", retention, firmware.RETENTION_S)
        )
        steps = (
            [*range(retention + step, self.last_pa, step), self.last_pa]
            if self.last_pa > retention
            else []
        )
        return found + [(f"step {n}", pa, firmware.STEP_S) for n, pa in enumerate(steps, 1)]


def test_of(
    label: str, rim: Rim, tyre: Tyre, top: str | None, air_l: float | None, medium: str = ""
) -> Test:
    """Build the test of a specimen: the lower maximum is the limit. `top`: None for retention alone, "" for the bench's end."""
    if (
        not label.isprintable()
        or not 1 <= len(label) <= codes.LABEL_LETTERS
        or len(label.encode()) > codes.LABEL_BYTES
    ):
        raise Refusal(
            f"The specimen's name must have 1 to {codes.LABEL_LETTERS} letters.",
            "Use a name from rim and tyre: the bench shows it for comparison.",
        )
    reach.check_pair(rim, tyre)
    if tyre.bead_seat_mm is None:
        raise Refusal(
            "The tyre's bead seat is unknown.",
            "Write the size as 28-622: it goes into the bench's record.",
        )
    limit, source = _limit(rim, tyre)
    reach.check_limit(limit)
    top_pa = None if top is None else parse_pressure(top) if top else min(2 * limit, reach.END_PA)
    if top_pa is not None:
        reach.check_top(top_pa)
        hold_pa = firmware.retention_pa(limit) + firmware.BAND_PA
        if top_pa <= hold_pa:
            fix = f"Set --to from above {show_minimum(hold_pa)} to {show_limit(reach.END_PA)}, or use --retention-only."
            raise Refusal("The release ramp has no step above the retention pressure.", fix)
    air_ml = round(air_l * 1000) if air_l else BOTTLE_ML
    wheel_id = hashlib.sha256(b"bench " + label.encode()).digest()[:8]
    revision = (
        int(time.time()) - codes.EPOCH_DAY_UNIX_S
    )  # always higher than that of the previous test
    return Test(
        limit, top_pa, air_ml, label, wheel_id, revision, medium=medium, rim_inner_mm=rim.inner_mm,
        rim_type=rim.type, tyre_width_mm=tyre.width_mm, bead_seat_mm=tyre.bead_seat_mm, limit_source=source,
    )  # fmt: skip


def _limit(rim: Rim, tyre: Tyre) -> tuple[int, int]:
    """Return (lowest maximum, its source)."""
    if rim.max_pa is None or tyre.max_pa is None:
        raise Refusal(
            f"The {'rim' if rim.max_pa is None else 'tyre'}'s maximum is not readable.",
            "Write it as '5 bar' or '72.5 psi'.",
        )
    limits: list[tuple[int, int]] = [
        (rim.max_pa, codes.LIMIT_RIM_MARKED),
        (tyre.max_pa, codes.LIMIT_TYRE_PRINTED),
    ]
    if rim.straight_side:
        limits.append((codes.STRAIGHT_SIDE_LIMIT_PA, codes.LIMIT_STRAIGHT_SIDE))
    return min(limits)


def profile_of(test: Test, ring: Ring) -> bytes:
    """Return the test as a bench profile, signed with the bench key. Refusal above the bench's range."""
    last = test.last_pa
    reach.check_limit(test.limit_pa, test.gauge_pa)
    reach.check_top(last, test.gauge_pa)
    ceiling = -(-(last + test.gauge_pa + reach.SPARE_PA) // KPA) * KPA
    values: dict[str, Any] = {
        "revision": test.revision,
        "issue": next_issue(ring.current),
        "wheel_id": test.wheel_id,
        "label": test.label.encode(),
        "rim_class": codes.number_of(enumerations.RIM_CLASSES, test.rim_type),
        "position": codes.POSITION_ANY,
        "chuck": codes.CHUCK_PIN_OPEN,
        "limit_source": test.limit_source,
        "tyre_width_dmm": round(test.tyre_width_mm * 10),
        "bead_seat_mm": test.bead_seat_mm,
        "rim_width_dmm": round((test.rim_inner_mm or 0) * 10),
        "flags": codes.FLAG_BENCH,
        "volume_low_ml": test.air_ml,
        "volume_ml": test.air_ml,
        "limit_pa": test.limit_pa,
        "ceiling_pa": ceiling,
        "target_pa": last,
        "seat_pause_pa": test.seating_pa,
        "ambient_min_pa": 30_000,
        "temp_max_ck": 33_315,
        "ref_temp_ck": 29_315,
        "time_budget_s": 1_800,
        "made_days": (int(time.time()) - codes.EPOCH_DAY_UNIX_S) // DAY_S,
    }
    return bytes(tag_profile(ring.current.key, pack_profile(values, bench=True)))


def plant_of(test: Test, **over: Any) -> PlantParams:
    """Plant of the virtual bench: 16 bar transducers, a 12 bar line through a narrow restrictor, wide fixture hoses, no valve core."""
    fixture = {
        "span_pa": 1.6e6,
        "line_pa": float(firmware.RIG["supply_pa"]),  # type: ignore[arg-type]
        "line_c": 0.02,
        "hose_c": 5.0,
        "chuck_c": 5.0,
        "core_c": 5.0,
        "crack_pa": 0.0,
        "pin_open": True,
        "manifold_ml": float(firmware.RIG["manifold_ml"]),  # type: ignore[arg-type]
        "tyre_ml": float(test.air_ml),
        "tyre_growth_per_pa": 0.0,
        "cutoff_high_pa": 1_047.1e3,
        "cutoff_high_top_pa": 1_100e3,
        "relief_high_pa": 1_150e3,
    }
    return line(**(fixture | over))


class Hands:
    """Person at a virtual bench: acts as `proof.run` reports, one press at a time, while time passes."""

    def __init__(self, inflator: Any) -> None:
        self.inflator = inflator
        self._until = 0
        inflator.watchers.append(self._tick)

    def tell(self, kind: str, facts: dict[str, Any]) -> None:
        """Report as a person reads or sees it."""
        if kind == "confirm" or facts.get("state") == "seat-pause" and kind == "level":
            self.inflator.hands.held.add("enter")
            self._until = self.inflator.ticks + PRESS_TICKS
        elif kind == "hold":
            self.inflator.hands.run = True
        elif kind == "let-go":
            self.inflator.hands.run = False

    def _tick(self, inflator: Any) -> None:
        if inflator.ticks == self._until:
            inflator.hands.held.discard("enter")

    def enrol(self, client: Any, ring: Ring) -> None:
        """Send the bench its key and confirm it with the workshop button."""

        verbs.enrol_key(client, ring.current.key, lambda _text: confirm(self.inflator))


@contextmanager
def virtual(
    test: Test, seed: int = 1, interpreter: Any = None, compiled: bool = True, **over: Any
) -> Iterator[Any]:
    """Virtual bench in lockstep, its key in the bench position."""

    with tempfile.TemporaryDirectory(prefix="rimward-bench-") as folder:
        bench_build.write_tree(Path(folder))
        where = Where(device="bench001", tree=Path(folder))
        with VirtualInflator(
            plant_of(test, **over),
            seed=seed,
            interpreter=interpreter,
            where=where,
            compiled=compiled,
        ) as inflator:
            inflator.hands.range_bench = True
            yield inflator
