"""Safety case as data, in Goal Structuring Notation (GSN Community Standard, from memory): goals, strategies, solutions, contexts,
assumptions.

A solution names its files (evidence and its subject), the tests that show it, and, where a program keeps figures, the entry that must say
`ok`. `safety_case` ties it to the digests of those files.
"""

from hardware.case_node import (
    ASSUMPTION,
    CIRCUIT,
    CONTEXT,
    GOAL,
    GUARD,
    JUSTIFICATION,
    SOLUTION,
    STRATEGY,
    TRUST,
    Node,
)
from hardware.case_one_fault import ONE_FAULT

BANNER = (
    "An argument by the authors of this project. It has not been assessed or certified by anyone; nothing has been built or measured. "
    "It claims no performance level, no category and no conformity."
)

NODES = (
    # No fault
    Node("G1", GOAL, "Sound inflator: no air is admitted to a tyre at or above its ceiling"),
    Node(
        "C1",
        CONTEXT,
        "Sound: built as hardware/ says, bring-up and daily test passed, calibrated, firmware of this tree",
        "G1",
    ),
    Node(
        "C2",
        CONTEXT,
        "Ceiling: true gauge pressure that the profile allows for the air at the tyre's place",
        "G1",
    ),
    Node(
        "A1",
        ASSUMPTION,
        "The rim holds its stated limit, and what the person entered of the wheel is true",
        "G1",
    ),
    Node(
        "A2",
        ASSUMPTION,
        "Readings err by at most the guard band; delivery, volume and delays lie in their stated ranges",
        "G1",
    ),
    Node(
        "S1",
        STRATEGY,
        "Along the chain: limit, ceiling in force, decision, outputs, program that runs",
        "G1",
    ),
    Node(
        "G1.1",
        GOAL,
        "The ceiling that the host works out never exceeds the limit on the stated ride",
        "S1",
    ),
    Node(
        "E1.1a",
        SOLUTION,
        "Published limits and values; every combination of rim, tyre and knowledge",
        "G1.1",
        (
            "host/rimward/limits/ceiling/*.py",
            "host/rimward/base/atmosphere.py",
            "tests/outside/test_ceiling_oracle.py",
            "tests/outside/test_envelope.py",
            "tests/unit/test_ceiling_properties.py",
        ),
        (
            "tests/outside/test_ceiling_oracle.py",
            "tests/outside/test_envelope.py",
            "tests/unit/test_ceiling_properties.py",
        ),
    ),
    Node(
        "E1.1b",
        SOLUTION,
        "Arming: ceiling, stop reading and overrun from profile, place and rig",
        "G1.1",
        (
            "firmware/rimward_fw/control/arming.py",
            "firmware/rimward_fw/control/configuration.py",
            "tests/unit/test_fill_arming.py",
        ),
        ("tests/unit/test_fill_arming.py",),
    ),
    Node(
        "G1.2",
        GOAL,
        "Air runs only while every condition of G1 and G2 holds in that tick; a ceiling in force never rises",
        "S1",
    ),
    Node(
        "E1.2a",
        SOLUTION,
        "Rules of the guard proved for every state and input (z3), each with a planted defect found",
        "G1.2",
        (
            *GUARD,
            "tests/trust/guard_rules.py",
            "tests/trust/guard_conditions.py",
            "tests/trust/guard_fault_rules.py",
            "tests/trust/guard_latch_rules.py",
            "tests/trust/guard_tyre_rules.py",
            "tests/trust/guard_prove.py",
            TRUST,
        ),
        ("tests/unit/test_guard_proof.py",),
        (TRUST, "guard", "checks", "rules-proved", "ok"),
    ),
    Node(
        "E1.2b",
        SOLUTION,
        "Every mutant of the guard killed or proved equal",
        "G1.2",
        (*GUARD[:1], "tests/trust/guard_mutation.py", "tests/trust/guard_mutants.py", TRUST),
        (),
        (TRUST, "guard", "checks", "mutants-killed", "ok"),
    ),
    Node(
        "G1.3",
        GOAL,
        "The decision comes in time: what still flows after it keeps the tyre at or below the ceiling",
        "S1",
    ),
    Node(
        "J1",
        JUSTIFICATION,
        "Drawn fills show the margin; they prove nothing beyond their number, which is given with every maximum",
        "G1.3",
    ),
    Node(
        "E1.3a",
        SOLUTION,
        "Closed loop proved: induction under stated bounds, each needed, for both sources and chucks: tyres that can be seen, hidden ones that begin clear of the ceiling, a line's bursts before flow was seen, and what one opening of a core lets in",
        "G1.3",
        (
            *GUARD,
            "tests/trust/closed_loop.py",
            "tests/trust/closed_unseen.py",
            "tests/trust/closed_bounds.py",
            "tests/trust/closed_plant.py",
            "tests/trust/closed_fill.py",
            "firmware/rimward_fw/control/arming.py",
            "firmware/rimward_fw/control/configuration.py",
            "hardware/params.py",
            "tests/unit/test_closed_loop.py",
        ),
        ("tests/unit/test_closed_loop.py",),
    ),
    Node(
        "E1.3b",
        SOLUTION,
        "Drawn healthy fills of the whole firmware in the simulated world",
        "G1.3",
        (
            "tests/bench/WORLD.md",
            "tests/bench/world.json",
            "host/rimward/simulation/campaign/*.py",
            "host/rimward/simulation/plant/*.py",
            "tests/unit/test_world_page.py",
        ),
        ("tests/unit/test_world_page.py",),
    ),
    Node(
        "G1.4",
        GOAL,
        "The elements follow the decision: both off within 20 ms and the stated coast-down",
        "S1",
    ),
    Node(
        "E1.4a",
        SOLUTION,
        "Drop-out of the pulse gate and release of the relay, worst case and ngspice",
        "G1.4",
        (*CIRCUIT, "hardware/gate.py", "hardware/spice.py", "tests/unit/test_hardware_gate.py"),
        ("tests/unit/test_hardware_gate.py",),
    ),
    Node(
        "E1.4b",
        SOLUTION,
        "Pins are driven off before on, in the tick that decides",
        "G1.4",
        ("firmware/rimward_fw/kernels/tick.py", "tests/unit/test_tick.py"),
        ("tests/unit/test_tick.py",),
    ),
    Node("G1.5", GOAL, "What runs on the chip is what was proved", "S1"),
    Node(
        "E1.5a",
        SOLUTION,
        "Machine code of the install against the source on an emulated processor, bit for bit, with its longest tick",
        "G1.5",
        (
            "firmware/rimward_fw/kernels/*.py",
            "host/rimward/kernels/*.py",
            "tests/machine/*.py",
            "tests/interpreter/IDENTICAL.md",
        ),
        (
            "tests/machine/test_tick.py",
            "tests/machine/test_chip.py",
            "tests/interpreter/test_identical.py",
        ),
    ),
    Node(
        "E1.5b",
        SOLUTION,
        "The device digests what it stored; a wrong byte is refused",
        "G1.5",
        (
            "host/rimward/device/install/*.py",
            "tests/interpreter/test_install.py",
            "tests/unit/test_selfcheck.py",
        ),
        ("tests/interpreter/test_install.py", "tests/unit/test_selfcheck.py"),
    ),
    Node(
        "A3",
        ASSUMPTION,
        "mpy-cross, the chip and its interpreter do what their manuals say",
        "G1.5",
    ),
    *ONE_FAULT,
)

NOT_ARGUED = (
    "by proof: tyres under 0.6 L (with the compressor under 0.66 L above 2400 m and under 1.15 L in the high range), places above 3000 m, line valves slower than their class; drawn fills alone stand for these",
    "that a tyre which the reading does not show (behind a closed core) stays below its ceiling when it is nearer to it than the closed loop's `clear` as the core opens: attached so "
    "with the compressor, or asked for air past its target while the hose leaks (H164). One opening of the core may lift it by `entry` over it, which is proved; for a hose that keeps "
    "leaking, chosen fills alone and the independent cutoff stand",
    "that a rim, tyre or hose holds its stated limit",
    "how often anything fails: no failure rates, no probability, no performance level",
    "two independent faults at once, and faults caused on purpose",
    "electromagnetic compatibility: filters and clamps are drawn, nothing was measured (goal G2.8 is undeveloped)",
    "that the simulated plant is the real one: its constants come from data sheets, classes and judgement, as `params` says of each",
    "compilers, interpreter, ngspice and z3 themselves",
    "figures of parts that are marked as from memory",
    "people who fill without the inflator, or bridge the run control against the warning",
    "the proof bench, which has a case of its own to be made",
)
