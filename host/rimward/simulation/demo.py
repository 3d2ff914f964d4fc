"""The whole job on the invented wheel: ceiling, profile, upload, fill, session, replay, picture, and five attacks."""

import json
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rimward import records
from rimward.errors import Refusal
from rimward.link import verbs
from rimward.sessions import read_session, replay
from rimward.simulation.attacks import all_attacks
from rimward.simulation.person import Person
from rimward.simulation.scenario import SHOP, Scenario, plant_of, profile_of
from rimward.units import show_limit, show_reading
from rimward.virtual import VirtualInflator, find_interpreter

SETTLED_WITHIN_PA = 10_000  # bounds the demo alone; how far simulated fills settle: host/LIMITS.md
COOLING_S = 120.0
Tell = Callable[[str], None]


def run_demo(out: Path, tell: Tell) -> dict[str, Any]:
    """Does everything for real and writes profile, session, picture and summary.json into `out`. Gives the summary."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        (out / "summary.json").write_text("{}\n")  # what an earlier run found is not taken for this one's
    except OSError as failed:
        raise Refusal(f"{out} cannot be written: {failed.strerror}.", "Give another folder with --out.") from failed
    scenario = Scenario()
    interpreter = find_interpreter()
    if interpreter.notice:
        tell(interpreter.notice)
    data = profile_of(scenario)
    fields = records.unpack_profile(data)
    (out / "profile.rwp").write_bytes(data)
    tell(f"{SHOP}: {scenario.label}, rim {scenario.rim} marked {scenario.rim_max}, tyre {scenario.tyre} printed {scenario.tyre_range}.")
    tell(ceiling_line(fields))
    params = plant_of(scenario)
    tell_compiling(tell)
    summary = _fill(out, data, fields, params, interpreter, tell)
    tell("Five attempts to get past the ceiling:")
    attacks, halted_s = all_attacks(
        data, params, interpreter, lambda a: tell(f"  {'held  ' if a.held else 'BROKEN'} {a.name}: {a.told}; tyre at most {a.peak_tyre_pa / 1e5:.2f} bar.")
    )
    summary["halted_power_off_s"] = round(halted_s, 4)
    summary["attacks"] = [{name: asdict(a)[name] for name in ("name", "held", "peak_tyre_pa", "cause")} for a in attacks]
    (out / "summary.json").write_text(json.dumps(summary, indent=2) + "\n")
    _judge(summary)
    return summary


def tell_compiling(tell: Tell) -> None:
    """Says that the simulated world is being compiled, where it is."""
    from rimward.plant import compiled, jit

    if not jit.is_kept(compiled.MODULES):
        tell("Compiling the simulated world for this computer: once, some 15 seconds ...")


def ceiling_line(fields: dict[str, Any]) -> str:
    """Limit, ride, ceiling and target on one line."""
    ride = fields["ceiling_pa"] - fields["limit_pa"]
    return (
        f"Limit {show_limit(fields['limit_pa'])} -> ride {ride / 1e5:+.2f} bar -> ceiling {show_limit(fields['ceiling_pa'])}; "
        f"target {show_limit(fields['target_pa'])} (all gauge)."
    )


def _fill(out: Path, data: bytes, fields: dict[str, Any], params: Any, interpreter: Any, tell: Tell) -> dict[str, Any]:
    with VirtualInflator(params, interpreter=interpreter) as inflator:
        person = Person(inflator)
        stored = person.bring(data)
        tell(f"The shop's key enrolled and confirmed at the inflator; profile stored; the inflator read back the same digest {stored['sha256'][:16]}...")
        person.choose(fields["wheel_id"])
        armed = person.status()
        tell(f"Armed: ceiling here {show_limit(armed['ceiling_pa'])}, this inflator stops at {show_limit(armed['stop_pa'])}. Holding the run control.")
        last = person.fill()
        peak = round(inflator.plant.peak_pa)
        person.let_settle()
        session = out / "session.rws"
        verbs.pull_session(person.client, 0, session)
        inflator.hands.attached = False
        inflator.advance(COOLING_S)
        settled = round(inflator.plant.settled_pa)
        seconds = inflator.now_s
    tell(f"Fill ended: {last['state']} ({last['stop_cause']}); cold tyre {show_reading(settled)}, target here {show_reading(armed['target_pa'])}.")
    log = read_session(session)
    again = replay(log)
    tell(f"Session: {len(log.events)} events, {again.ticks} full-rate ticks replay {'to the same decisions' if again.identical else 'DIFFERENTLY'}.")
    from rimward.sessions.drawing import draw_session

    picture = draw_session(log, out / "fill.png")
    tell(f"Picture: {picture}")
    return {
        "interpreter": interpreter.name,
        "ceiling_pa": armed["ceiling_pa"],
        "target_pa": armed["target_pa"],
        "peak_tyre_pa": peak,
        "settled_pa": settled,
        "state": last["state"],
        "replay_identical": again.identical,
        "replayed_ticks": again.ticks,
        "virtual_s": round(seconds, 1),
    }


def _judge(summary: dict[str, Any]) -> None:
    """Refusal if anything that must hold did not."""
    wrong = [a["name"] for a in summary["attacks"] if not a["held"]]
    if summary["peak_tyre_pa"] > summary["ceiling_pa"]:
        wrong.append("the tyre passed its ceiling")
    if abs(summary["settled_pa"] - summary["target_pa"]) > SETTLED_WITHIN_PA:
        wrong.append("the cold tyre is more than 0.10 bar off its target")
    if not summary["replay_identical"]:
        wrong.append("the replay decided otherwise")
    if wrong:
        raise Refusal(f"The demo did not hold: {'; '.join(wrong)}.", "Report it with the files it wrote.")
