"""The safety case as data, in Goal Structuring Notation (GSN Community Standard, from memory): goals, strategies, solutions, contexts, assumptions.

A solution names the files it rests on (evidence and what the evidence is about), the tests that show it, and where a program keeps figures
the entry that must say `ok`. `safety_case` binds it to the digests of those files.
"""

from dataclasses import dataclass

BANNER = ("An argument by the authors of this project. It was assessed and certified by nobody; nothing has been built or measured. "
          "It claims no performance level, no category and no conformity.")

GOAL, STRATEGY, SOLUTION, CONTEXT, ASSUMPTION, JUSTIFICATION = "goal", "strategy", "solution", "context", "assumption", "justification"


@dataclass(frozen=True)
class Node:
    """One element. `under`: what it supports or, for contexts and assumptions, where it holds. `files`: patterns from the top of the tree."""

    id: str
    kind: str
    text: str
    under: str = ""
    files: tuple[str, ...] = ()
    tests: tuple[str, ...] = ()
    figure: tuple[str, ...] = ()  # file, then keys down to a number or truth that must not be false, 0 or absent
    undeveloped: bool = False


GUARD = ("firmware/rimward_fw/kernels/guard*.py", "tests/trust/executor.py", "tests/trust/terms.py", "tests/trust/guard_model.py")
TRUST = "tests/trust/figures.json"
CIRCUIT = ("hardware/circuit.py", "hardware/params.py")

NODES = (
    # Sound
    Node("G1", GOAL, "Sound inflator: no air is admitted to a tyre at or above its ceiling"),
    Node("C1", CONTEXT, "Sound: built as hardware/ says, bring-up and daily test passed, calibrated, firmware of this tree", "G1"),
    Node("C2", CONTEXT, "Ceiling: true gauge pressure that the profile allows for the air where the tyre stands", "G1"),
    Node("A1", ASSUMPTION, "The rim holds its stated limit, and what the person entered of the wheel is true", "G1"),
    Node("A2", ASSUMPTION, "Readings err by at most the guard band; delivery, volume and delays lie in their stated ranges", "G1"),
    Node("S1", STRATEGY, "Along the chain: limit, ceiling in force, decision, outputs, program that runs", "G1"),
    Node("G1.1", GOAL, "The ceiling that the host works out never exceeds the limit on the stated ride", "S1"),
    Node("E1.1a", SOLUTION, "Published limits and values; every combination of rim, tyre and knowledge", "G1.1",
         ("host/rimward/ceiling/*.py", "host/rimward/atmosphere.py", "tests/outside/test_ceiling_oracle.py", "tests/outside/test_envelope.py", "tests/unit/test_ceiling_properties.py"),
         ("tests/outside/test_ceiling_oracle.py", "tests/outside/test_envelope.py", "tests/unit/test_ceiling_properties.py")),
    Node("E1.1b", SOLUTION, "Arming: ceiling, stop reading and overrun from profile, place and rig", "G1.1",
         ("firmware/rimward_fw/control/arming.py", "firmware/rimward_fw/control/configuration.py", "tests/unit/test_fill_arming.py"), ("tests/unit/test_fill_arming.py",)),
    Node("G1.2", GOAL, "Air runs only while every condition of G1 and G2 holds in that tick; a ceiling in force never rises", "S1"),
    Node("E1.2a", SOLUTION, "Rules of the guard proved for every state and input (z3), each with a planted defect found", "G1.2",
         (*GUARD, "tests/trust/guard_rules.py", "tests/trust/guard_fault_rules.py", "tests/trust/guard_tyre_rules.py", "tests/trust/guard_prove.py", TRUST),
         ("tests/unit/test_guard_proof.py",), (TRUST, "guard", "checks", "rules-proved", "ok")),
    Node("E1.2b", SOLUTION, "Every mutant of the guard killed or proved equal", "G1.2", (*GUARD[:1], "tests/trust/guard_mutation.py", "tests/trust/guard_mutants.py", TRUST),
         (), (TRUST, "guard", "checks", "mutants-killed", "ok")),
    Node("G1.3", GOAL, "The decision comes in time: what still flows after it keeps the tyre at or below the ceiling", "S1"),
    Node("J1", JUSTIFICATION, "Drawn fills show the margin; they prove nothing beyond their number, which stands with every maximum", "G1.3"),
    Node("E1.3a", SOLUTION, "Closed loop proved: induction under stated bounds, each needed, for the compressor and for a line's bursts", "G1.3",
         (*GUARD, "tests/trust/closed_loop.py", "tests/trust/closed_bounds.py", "tests/trust/closed_plant.py", "firmware/rimward_fw/control/arming.py",
          "firmware/rimward_fw/control/configuration.py", "hardware/params.py", "tests/unit/test_closed_loop.py"), ("tests/unit/test_closed_loop.py",)),
    Node("E1.3b", SOLUTION, "Drawn healthy fills of the whole firmware in the simulated world", "G1.3",
         ("tests/bench/WORLD.md", "tests/bench/world.json", "host/rimward/campaign/*.py", "host/rimward/plant/*.py", "tests/unit/test_world_page.py"), ("tests/unit/test_world_page.py",)),
    Node("G1.4", GOAL, "The elements follow the decision: both off within 20 ms and the stated coast-down", "S1"),
    Node("E1.4a", SOLUTION, "Drop-out of the pulse gate and release of the relay, worst case and ngspice", "G1.4",
         (*CIRCUIT, "hardware/gate.py", "hardware/spice.py", "tests/unit/test_hardware_gate.py"), ("tests/unit/test_hardware_gate.py",)),
    Node("E1.4b", SOLUTION, "Pins are driven off before on, in the tick that decides", "G1.4",
         ("firmware/rimward_fw/kernels/tick.py", "tests/unit/test_tick.py"), ("tests/unit/test_tick.py",)),
    Node("G1.5", GOAL, "What runs on the chip is what was proved", "S1"),
    Node("E1.5a", SOLUTION, "Machine code of the install against the source on an emulated processor, bit for bit, with its longest tick", "G1.5",
         ("firmware/rimward_fw/kernels/*.py", "host/rimward/kernels/*.py", "tests/machine/*.py", "tests/interpreter/IDENTICAL.md"),
         ("tests/machine/test_tick.py", "tests/machine/test_chip.py", "tests/interpreter/test_identical.py")),
    Node("E1.5b", SOLUTION, "The device digests what it stored; a wrong byte is refused", "G1.5",
         ("host/rimward/install/*.py", "tests/interpreter/test_install.py", "tests/unit/test_selfcheck.py"), ("tests/interpreter/test_install.py", "tests/unit/test_selfcheck.py")),
    Node("A3", ASSUMPTION, "mpy-cross, the chip and its interpreter do what their manuals say", "G1.5"),
    # One fault
    Node("G2", GOAL, "With any single fault the tyre stays within the bound that its hazard row states"),
    Node("C3", CONTEXT, "Hazard table: hardware/out/hazards.html; faults of the plant: hardware/FAULTS.md; of the circuit: hardware/single_faults.csv", "G2"),
    Node("A4", ASSUMPTION, "One fault at a time, and those that stay hidden are found by the next fill or the daily test", "G2"),
    Node("A5", ASSUMPTION, "The daily test and the yearly check-out are done; the inflator refuses after a failed one, not after a missing one", "G2"),
    Node("S2", STRATEGY, "Over what can fail: every row, circuit, sensors and air, processor, what two layers share, hidden faults, build", "G2"),
    Node("G2.1", GOAL, "Every hazard row names what shows it", "S2"),
    Node("E2.1", SOLUTION, "Rows, promises, plant faults and tests held together; a named test that did not pass fails the run", "G2.1",
         ("hardware/hazards.csv", "hardware/hazards.py", "tests/ran.py", "tests/unit/test_ran.py"), ("tests/unit/test_ran.py",)),
    Node("G2.2", GOAL, "No open or short of the stop chain takes both layers away unseen", "S2"),
    Node("E2.2", SOLUTION, "Every open and short in ngspice while it works, each with its verdict", "G2.2",
         (*CIRCUIT, "hardware/chain.py", "hardware/single_faults.py", "hardware/single_faults.csv", "hardware/gate_faults.py", "tests/unit/test_hardware_faults.py"),
         ("tests/unit/test_hardware_faults.py",)),
    Node("G2.3", GOAL, "Faults of sensors, valves, source and hose stay within their bound", "S2"),
    Node("E2.3", SOLUTION, "40 drawn sessions of every plant fault; a maximum of 40 draws, not a bound", "G2.3",
         ("hardware/FAULTS.md", "host/rimward/plant/faults.py", "tests/faults/fault_table.py", "tests/faults/test_every_fault.py", *GUARD[:1]), ("tests/faults/test_every_fault.py",)),
    Node("G2.4", GOAL, "A processor that hangs, resets or loses power stops the air by itself and starts off", "S2"),
    Node("E2.4", SOLUTION, "Halts, power cuts at every write, ends of the main loop", "G2.4",
         ("firmware/rimward_fw/app.py", "firmware/rimward_fw/storage/*.py", "tests/faults/test_halt.py", "tests/faults/test_powercut.py", "tests/interpreter/test_pico_run.py"),
         ("tests/faults/test_halt.py", "tests/faults/test_powercut.py", "tests/interpreter/test_pico_run.py")),
    Node("G2.5", GOAL, "The independent cutoff opens inside its band and shares nothing with the first layer", "S2"),
    Node("E2.5a", SOLUTION, "Band over tolerance, temperature and altitude, against ngspice; tyre after a trip under 110 %", "G2.5",
         (*CIRCUIT, "hardware/cutoff.py", "hardware/air.py", "tests/outside/test_comparator.py", "tests/unit/test_hardware_cutoff.py"),
         ("tests/outside/test_comparator.py", "tests/unit/test_hardware_cutoff.py")),
    Node("E2.5b", SOLUTION, "Passages, nets, supplies and returns, one by one", "G2.5", (*CIRCUIT, "hardware/shared.py", "tests/unit/test_hardware_shared.py"), ("tests/unit/test_hardware_shared.py",)),
    Node("G2.6", GOAL, "A fault of the cutoff that stays hidden in use is found", "S2"),
    Node("E2.6", SOLUTION, "Compared with A and B at every fill; daily test with air; vent timed", "G2.6",
         ("firmware/rimward_fw/control/cutoff_check.py", "firmware/rimward_fw/board/cutoff_view.py", "hardware/single_faults.py", "tests/unit/test_cutoff_check.py"),
         ("tests/unit/test_cutoff_check.py",)),
    Node("E2.6b", SOLUTION, "Bring-up: every step holds on the sound board and finds the faults it names; no air before", "G2.6",
         ("host/rimward/bringup/*.py", "host/rimward/data/bringup.json", "hardware/checkout_sim.py", "tests/unit/test_bringup.py"), ("tests/unit/test_bringup.py",)),
    Node("G2.7", GOAL, "A part that is turned round, too hot or bought from another source is refused before use", "S2"),
    Node("E2.7", SOLUTION, "Rules over pins, junctions and figures of every series", "G2.7",
         (*CIRCUIT, "hardware/polarity.py", "hardware/swaps.py", "hardware/thermal.py", "hardware/series.py", "tests/unit/test_hardware_polarity.py", "tests/unit/test_hardware_thermal.py",
          "tests/unit/test_hardware_series.py"), ("tests/unit/test_hardware_polarity.py", "tests/unit/test_hardware_thermal.py", "tests/unit/test_hardware_series.py")),
    Node("G2.8", GOAL, "Interference on wires and through the air moves no limit", "S2", undeveloped=True),
)

NOT_ARGUED = (
    "by proof: a workshop line once flow into a tyre was seen, tyres under 0.6 L, places above 3000 m; drawn fills alone stand for these",
    "that a tyre behind a closed core which begins just under its ceiling stays there: it may end a few kPa above (closed loop, `entry`)",
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
