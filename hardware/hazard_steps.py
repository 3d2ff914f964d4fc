"""Hazard analysis by the steps of ISO 12100 (from memory; verify against the standard): limits of the machine, life phases, risk before
and after.

Severity S1 slight, S2 serious (a rim that bursts, fire); exposure F1 seldom, F2 with every use; avoidance A1 possible, A2 hardly possible. Our
judgement: before is without any measure of the row, after with all of them. ISO 13849-1 (from memory too) is used to think, not to claim.
"""

INTENDED = (
    "Intended use: filling and checking bicycle tyres on wheels with a known limit, by a person who holds the run control at the side of the wheel; air or nitrogen; "
    "0 to 50 degC, up to 3000 m, indoors; compressor of its own or a workshop line up to 10 bar (145.0 psi)."
)
MISUSE = (
    "another wheel on the hose than the one chosen (H74, H75)",
    "run control tied or taped down (H152)",
    "range key left on high (H57)",
    "calibration or daily test left out (H95)",
    "gas cylinder or another gas (H160, H161)",
    "used wet, frozen or in the rain (H82, H157)",
    "parts of another range or make fitted (H132, H155)",
    "check-out program or proof bench used on a wheel for riding (H92, H96)",
    "car tyres, balls, boats: no profile, so the built-in ceiling alone",
)
PHASES = {
    "building and bring-up": ("H84", "H110", "H119", "H132", "H136", "H137", "H155", "H162"),
    "setting up: profile, key, calibration, update": (
        "H74",
        "H75",
        "H76",
        "H77",
        "H91",
        "H92",
        "H93",
        "H95",
        "H153",
    ),
    "daily and yearly test": (
        "H05",
        "H49",
        "H51",
        "H52",
        "H56",
        "H58",
        "H62",
        "H85",
        "H96",
        "H113",
        "H116",
    ),
    "cleaning, draining, storing, taking apart": ("H82", "H150", "H157"),
}
USE = "use"
REASONING = (
    "Structure: the sensing of firmware (A, B) and of the cutoff (C) are two channels of different technology, each of which drops both elements and opens the vent: the thought behind category 3.",
    "Found faults: every single open and short of the stop chain is shown at the fault, at the next fill or by the daily test (single_faults.csv); a share that weighs them by rate is not known, "
    "so no diagnostic coverage is stated.",
    "Common cause: passages, nets, supplies and returns are looked at one by one (shared.py); temperature, moisture and interference act on both channels and are not scored.",
    "Not claimed: a category, a diagnostic coverage, a mean time to dangerous failure, a performance level. There are no failure rates of these parts, and nothing was built.",
)
SLIGHT = (
    "no filling",
    "air lost",
    "stops too soon",
    "flat tyre",
)  # remaining risk at worst where no pressure can rise


def phase_of(row_id: str) -> str:
    """Life phase in which the hazard begins; use, unless stated."""
    return next((phase for phase, rows in PHASES.items() if row_id in rows), USE)


def severity(effect: str, residual: str) -> str:
    """S1 where the effect is only that nothing moves and the residual says no more, else S2."""
    harmless = effect.startswith(
        ("stops", "no fill", "air cannot run", "air lost")
    ) and residual in (*SLIGHT, "none", "no filling until repaired")
    return "S1" if harmless else "S2"


def risk(row_id: str, effect: str, residual: str, person_sees: bool) -> tuple[str, str]:
    """Return (before, after): severity, exposure, avoidance. After: exposure F1; A1 where the fault is reported before the pressure is
    dangerous.
    """
    s = severity(effect, residual)
    before = f"{s} {'F2' if phase_of(row_id) == USE else 'F1'} {'A1' if s == 'S1' else 'A2'}"
    left = "S1" if residual.strip() in ("none", *SLIGHT) else s
    return before, f"{left} F1 {'A1' if person_sees or left == 'S1' else 'A2'}"


def lines() -> list[str]:
    """Return the steps before the table, as Markdown."""
    found = [
        "## Limits and use (ISO 12100, from memory)",
        "",
        INTENDED,
        "",
        "Foreseeable misuse:",
        "",
    ]
    found += [f"- {text}" for text in MISUSE]
    found += [
        "",
        "Life phases: "
        + "; ".join(f"{phase} ({', '.join(rows)})" for phase, rows in PHASES.items())
        + "; all other rows: use.",
        "",
    ]
    found += [
        "S1 slight, S2 serious; F1 seldom, F2 with every use; A1 avoidable, A2 hardly: our judgement, before without any measure of the row, after with all.",
        "",
    ]
    return [
        *found,
        "## Reasoning after ISO 13849-1 (from memory), without a claim",
        "",
        *(f"- {text}" for text in REASONING),
        "",
        "## Table",
        "",
    ]
