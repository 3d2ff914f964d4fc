"""Plan of a retention or release test: steps, energy, stand-off distance.

Nothing here replaces the maker's instructions, local codes or a qualified person; the plan says so in its cautions.
"""

from dataclasses import dataclass
from typing import Any

from rimward_fw.bench.app import BAND_PA

from rimward.base.errors import Refusal
from rimward.base.units import show_limit, show_minimum
from rimward.limits import energy
from rimward.proof import memory, reach
from rimward.proof.standard import HOLD_S, PERCENT

STRAIGHT_SIDE_PA = 500_000
WATER_BULK_PA = 2_200_000_000
SCREEN_PERCENT = 150
# California Title 8 3325: beads seat at or under 40 psi, else deflate fully before adjusting.
SEATING_MAX_PA = 275_000
MEDIA = ("water", "air")
PPE = (
    "eye protection with side shields, and a face shield",
    "hearing protection: a release is a loud bang",
    "gloves and closed shoes",
    "no person in the plane of the wheel, none in front of the valve",
)
CAUTIONS = (
    "Local codes, the makers' instructions and a qualified person decide; this plan only collects published rules.",
    "A person behind the screen holds the run control the whole time; releasing it stops the filling and vents.",
    "Never approach, touch or look over a wheel under test pressure; vent to zero and see zero first.",
    "A tested rim or tyre is scrap: mark it, so that it is never ridden.",
)
WHY_WATER = (
    "Water hardly stores energy: at the same pressure it holds thousands of times less than air, so a release ends in a drop of "
    "pressure instead of a blast. Release all air first; remaining air stores energy like any air."
)
WHY_NOT_AIR = "Air stores the full energy shown below. Release tests with air need both the screen and the distance."
RULES = (
    (
        "ISO 4210-2, from memory",
        "110 % of the lower of the maxima on rim and tyre, held for not less than 5 minutes: the tyre stays on the rim.",
    ),
    (
        "16 CFR 1512.10",
        "110 % of the recommended pressure, also under a load of 2000 N; it states no time.",
    ),
)


@dataclass(frozen=True)
class Want:
    """Input of a plan. Pressures gauge pascals, volume litres; `recommended_pa`: base of 16 CFR 1512.10."""

    rim_max_pa: int
    tyre_max_pa: int
    volume_l: float
    straight_side: bool = True
    recommended_pa: int | None = None
    medium: str = "water"
    release: bool = True
    step_pa: int = 25_000
    step_hold_s: int = 60
    ramp_kpa_s: float = 5.0
    top_pa: int | None = None
    gauge_u_pa: int = BAND_PA  # the bench's class bound


def plan(want: Want) -> dict[str, Any]:
    """Return the plan as a JSON-ready object. Refusal for an impossible test."""
    limits = _limits(want)
    governing, limit_pa = min(limits.items(), key=lambda item: item[1])
    retention_pa = _percent_up(limit_pa, PERCENT)
    hold_pa = retention_pa + want.gauge_u_pa
    top_pa = _top_pa(want, limit_pa, hold_pa)
    levels = {"limit": limit_pa, "retention": hold_pa} | ({"top": top_pa} if want.release else {})
    steps = _steps(want, limit_pa, hold_pa, top_pa)
    seconds = memory.duration_s((step["hold_s"] or 0 for step in steps), max(levels.values()))
    return {
        "medium": want.medium,
        "why_medium": WHY_WATER if want.medium == "water" else WHY_NOT_AIR,
        "limit_pa": limit_pa,
        "governing": governing,
        "limits": [{"id": name, "pa": pa} for name, pa in limits.items()],
        "retention_pa": retention_pa,
        "gauge_u_pa": want.gauge_u_pa,
        "hold_pa": hold_pa,
        "hold_s": HOLD_S,
        "us_law_pa": None
        if want.recommended_pa is None
        else _percent_up(want.recommended_pa, PERCENT),
        "rules": [{"source": source, "text": text} for source, text in RULES],
        "top_pa": top_pa if want.release else None,
        "steps": [{"n": n, **step} for n, step in enumerate(steps, 1)],
        "longest_s": round(seconds),
        "bench_heap_bytes": memory.heap_needed(seconds),
        "bench_heap_thinned_bytes": memory.heap_needed(seconds, thinned=True),
        "energy": [_energy(name, pa, want.volume_l) for name, pa in levels.items()],
        "stand_off": stand_off(max(levels.values()), want.volume_l),
        "screen": _screen(max(levels.values())),
        "ppe": list(PPE),
        "cautions": list(CAUTIONS),
    }


def stand_off(gauge_pa: int, volume_l: float) -> dict[str, Any]:
    """Distances by the two published forms for air at this pressure, side by side, with their differences."""
    joules = {
        method.id: method.energy_j for method in energy.stored_energy(gauge_pa, volume_l / 1000)
    }
    pcc2 = joules["pcc2"]
    return {
        "gauge_pa": gauge_pa,
        "later_editions_m": energy.pcc2_distance_m(pcc2),
        "scaled_factor_2_m": energy.pcc2_scaled_distance_m(pcc2, 2),
        "scaled_factor_1_m": energy.pcc2_scaled_distance_m(pcc2, 1),
        "by_method_m": {
            name: energy.pcc2_scaled_distance_m(joule, 2) for name, joule in joules.items()
        },
        "disagreement": [
            "ASME PCC-2: later editions require at least 30 m below 135.5 MJ, a rule for pressure vessels; the scaled form alone gives a metre or two for a tyre.",
            "The 2008 edition has the cube root of TNT, later ones of twice TNT: a quarter further.",
            "TNT is counted as 4.267 MJ/kg in PCC-2 and as 4.184 MJ/kg by convention.",
            "The scaled form is about blast, not about a flying tyre, rim or water: the screen is for those.",
        ],
    }


def _limits(want: Want) -> dict[str, int]:
    if min(want.rim_max_pa, want.tyre_max_pa, want.volume_l) <= 0:
        raise Refusal("A limit or volume is not above zero.", "Enter the values on rim and tyre.")
    if want.medium not in MEDIA:
        raise Refusal(f"Unknown medium '{want.medium}'.", f"Choose {' or '.join(MEDIA)}.")
    limits = {"rim-marked": want.rim_max_pa, "tyre-marked": want.tyre_max_pa}
    return {**limits, "straight-side": STRAIGHT_SIDE_PA} if want.straight_side else limits


def _top_pa(want: Want, limit_pa: int, hold_pa: int) -> int:
    reach.check_limit(limit_pa, want.gauge_u_pa)
    top_pa = want.top_pa or min(2 * limit_pa, reach.END_PA)
    if not want.release:
        return top_pa
    reach.check_top(top_pa)
    if min(want.step_pa, want.step_hold_s, want.ramp_kpa_s) <= 0:
        raise Refusal(
            "A step, its hold or the ramp is not above zero.",
            "Set --step, --step-hold and --ramp above zero.",
        )
    if top_pa <= hold_pa:
        fix = f"Set --to from above {show_minimum(hold_pa)} to {show_limit(reach.END_PA)}, or use --retention-only."
        raise Refusal("The release ramp has no step above the retention pressure.", fix)
    if (top_pa - hold_pa) // want.step_pa > 500:
        raise Refusal("The release ramp has more than 500 steps.", "Use a larger --step.")
    return top_pa


def _percent_up(pa: int, percent: int) -> int:
    """Round a test pressure up: it must not fall short of the rule."""
    return -(-pa * percent // 100)


def _step(do: str, pa: int, hold_s: int = 0, watch: str = "") -> dict[str, Any]:
    return {"do": do, "gauge_pa": pa, "hold_s": hold_s, "watch": watch}


def _steps(want: Want, limit_pa: int, hold_pa: int, top_pa: int) -> list[dict[str, Any]]:
    fill = (
        "Fill with water until no bubble leaves at the highest point"
        if want.medium == "water"
        else "Leave the tyre empty of water"
    )
    steps = [
        _step(
            "Write down rim and tyre serials, inner width, tyre width, mounts so far, gauge and its calibration",
            0,
        ),
        _step(
            "Inspect rim and tyre; anything bent, cracked, cut or wet on the bead seat ends the test",
            0,
        ),
        _step(f"Mount in the fixture behind the screen, valve core out. {fill}", 0),
        _step(
            "Seat the beads, then check from behind the screen: even all round, both sides",
            min(limit_pa // 2, SEATING_MAX_PA),
            60,
            "seating pops",
        ),
        _step(
            "Rise to the limit and wait until the reading is steady", limit_pa, 60, "creep, leak"
        ),
        _step(
            f"Retention: {PERCENT} % of the limit plus the gauge's U of {show_minimum(want.gauge_u_pa)}, so that the true pressure reaches it. It passes if the tyre stays on the rim",
            hold_pa,
            HOLD_S,
            "creep, slip, leak onset, release",
        ),
    ]
    if want.release:
        steps += _ramp(want, hold_pa, top_pa)
    return [
        *steps,
        _step(
            "Vent to zero, see zero on both gauges, then inspect rim and tyre and mark them as tested",
            0,
        ),
    ]


def _ramp(want: Want, hold_pa: int, top_pa: int) -> list[dict[str, Any]]:
    levels = [*range(hold_pa + want.step_pa, top_pa, want.step_pa), top_pa]
    do = f"Release ramp at {want.ramp_kpa_s:g} kPa/s, then hold"
    return [_step(do, pa, want.step_hold_s, "slip, release") for pa in levels] + [
        _step(
            "No release up to here: stop. The result is censored: write released = no with the highest pressure reached",
            top_pa,
        )
    ]


def _energy(name: str, gauge_pa: int, volume_l: float) -> dict[str, Any]:
    volume_m3 = volume_l / 1000
    return {
        "at": name,
        "gauge_pa": gauge_pa,
        "volume_l": volume_l,
        "air": [
            {"id": m.id, "name": m.name, "source": m.source, "energy_j": m.energy_j}
            for m in energy.stored_energy(gauge_pa, volume_m3)
        ],
        "water_j": gauge_pa**2 * volume_m3 / (2 * WATER_BULK_PA),
        "water_source": "p²V/2K with K = 2.2 GPa, from memory; the stretch of casing, rim and hose is extra",
    }


def _screen(top_pa: int) -> dict[str, Any]:
    return {
        "withstands_pa": _percent_up(top_pa, SCREEN_PERCENT),
        "advice": [
            (
                "A restraining device or barrier that withstands a separation at 150 % of the maximum pressure (29 CFR 1910.177(d)(3)(i), "
                "written for large vehicles: by analogy only). Here 150 % of the highest pressure of this plan."
            ),
            "Inspect it before each day's use and after every release (1910.177(d)(3)).",
            "Hose long enough to stand outside the trajectory (1910.177(d)(4)); California Title 8 3325 says at least 24 in (0.61 m). They disagree: take the longer.",
        ],
    }
