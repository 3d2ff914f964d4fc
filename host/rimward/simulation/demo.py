"""Demo of the whole job on the invented wheel: ceiling, profile, upload, fill, session, replay, picture, and five attacks."""

import json
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rimward.base.errors import Refusal
from rimward.base.units import show_limit, show_reading
from rimward.device.link import verbs
from rimward.formats import records
from rimward.sessions import read_session, replay
from rimward.sessions.drawing import draw_session
from rimward.simulation.attacks import all_attacks
from rimward.simulation.person import Person
from rimward.simulation.scenario import SHOP, Scenario, plant_of, profile_of
from rimward.simulation.virtual import VirtualInflator, find_interpreter

SETTLED_WITHIN_PA = 10_000  # limit for the demo only; accuracy of simulated fills: host/LIMITS.md
Tell = Callable[[str], None]


def run_demo(out: Path, tell: Tell) -> dict[str, Any]:
    """Run everything for real and write profile, session, picture and summary.json into `out`. Return the summary."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        (out / "summary.json").write_text("{}\n")  # remove results of an earlier run
    except OSError as failed:
        raise Refusal(
            f"{out} cannot be written: {failed.strerror}.", "Choose another folder with --out."
        ) from failed
    scenario = Scenario()
    interpreter = find_interpreter()
    if interpreter.notice:
        tell(interpreter.notice)
    data = profile_of(scenario)
    fields = records.unpack_profile(data)
    (out / "profile.rwp").write_bytes(data)
    tell(
        f"{SHOP}: {scenario.label}, rim {scenario.rim} marked {scenario.rim_max}, tyre {scenario.tyre} printed {scenario.tyre_range}."
    )
    tell(ceiling_line(fields))
    params = plant_of(scenario)
    summary = _fill(out, data, fields, params, interpreter, tell)
    tell("Five attempts to exceed the ceiling:")
    attacks, halted_s = all_attacks(
        data,
        params,
        interpreter,
        lambda a: tell(
            f"  {'held  ' if a.held else 'BROKEN'} {a.name}: {a.happened}; tyre at most {a.peak_tyre_pa / 1e5:.2f} bar."
        ),
    )
    summary["halted_power_off_s"] = round(halted_s, 4)
    summary["attacks"] = [
        {name: asdict(a)[name] for name in ("name", "held", "peak_tyre_pa", "cause")}
        for a in attacks
    ]
    (out / "summary.json").write_text(json.dumps(summary, indent=2) + "\n")
    _check_results(summary)
    return summary


def ceiling_line(fields: dict[str, Any]) -> str:
    """Limit, ride, ceiling and target on one line."""
    ride = fields["ceiling_pa"] - fields["limit_pa"]
    return (
        f"Limit {show_limit(fields['limit_pa'])} -> ride {ride / 1e5:+.2f} bar -> ceiling {show_limit(fields['ceiling_pa'])}; "
        f"target {show_limit(fields['target_pa'])} (all gauge)."
    )


def _fill(
    out: Path, data: bytes, fields: dict[str, Any], params: Any, interpreter: Any, tell: Tell
) -> dict[str, Any]:
    with VirtualInflator(params, interpreter=interpreter) as inflator:
        person = Person(inflator)
        stored = person.bring(data)
        tell(
            f"The shop's key is enrolled and confirmed at the inflator; the profile is stored and read back with the same digest {stored['sha256'][:16]}..."
        )
        person.choose(fields["wheel_id"])
        armed = person.status()
        tell(
            f"Armed: ceiling here {show_limit(armed['ceiling_pa'])}, this inflator stops at {show_limit(armed['stop_pa'])}. Holding the run control."
        )
        last = person.fill()
        peak = round(inflator.plant.peak_pa)
        person.let_settle()
        session = out / "session.rws"
        verbs.pull_session(person.client, 0, session)
        settled = round(inflator.plant.settled_pa)
        seconds = inflator.now_s
    tell(
        f"Fill ended: {last['state']} ({last['stop_cause']}); cold tyre {show_reading(settled)}, target here {show_reading(armed['target_pa'])}."
    )
    log = read_session(session)
    again = replay(log)
    tell(
        f"Session: {len(log.events)} events, {again.ticks} full-rate ticks replay {'to the same decisions' if again.identical else 'DIFFERENTLY'}."
    )

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


def _check_results(summary: dict[str, Any]) -> None:
    """Raise Refusal if a required result is missing."""
    wrong = [a["name"] for a in summary["attacks"] if not a["held"]]
    if summary["peak_tyre_pa"] > summary["ceiling_pa"]:
        wrong.append("the tyre passed its ceiling")
    if abs(summary["settled_pa"] - summary["target_pa"]) > SETTLED_WITHIN_PA:
        wrong.append("the cold tyre is more than 0.10 bar off its target")
    if not summary["replay_identical"]:
        wrong.append("the replay made other decisions")
    if wrong:
        raise Refusal(f"The demo failed: {'; '.join(wrong)}.", "Report it with the files written.")
