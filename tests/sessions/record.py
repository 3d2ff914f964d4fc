"""Records the corpus and its references: `python -m tests.sessions.record [--all | NAME ...]` prints what changed.

Without names only the references are made again, from the present sessions; with names (or --all) those sessions are
recorded again on the virtual inflator.
"""

import json
import lzma
import sys
from pathlib import Path
from typing import Any

from rimward.base.errors import Refusal
from rimward.device.link import verbs
from rimward.sessions import read_session
from rimward.sessions.decisions import compare, decisions
from rimward.simulation.person import Person
from rimward.simulation.plant import compressor, line, tyre_ml
from rimward.simulation.plant import faults as plant_faults
from rimward.simulation.scenario import KEY
from rimward.simulation.virtual import VirtualInflator, find_interpreter
from rimward_protocol.profile import tag_profile

from tests.sessions.cases import CASES, Case

HERE = Path(__file__).parent
RECORDS = HERE / "records"
FILL_S = 150.0


def profile_for(case: Case) -> bytes:
    """The wheel's profile: ceiling from the ceiling engine, no ride stated."""
    from rimward.base.units import parse_pressure
    from rimward.limits.ceiling import Place
    from rimward.wheels import profiles

    values = {"label": case.name[:20], "rim": case.rim, "rim_max": case.limit, "tyre": case.tyre, "tyre_max": "9 bar",
              "approved": "yes", "bead": "folding", "air": "tubeless" if "TSS" in case.rim else "tube", "position": "any", "chuck": case.chuck}  # fmt: skip
    asked = profiles.Asked(parse_pressure(case.target), Place.of(case.temp_c, case.altitude_m))
    return profiles.build(values, case.name.encode().ljust(8, b"_")[:8], 1, asked)


def plant_for(case: Case) -> Any:
    """The plant with that wheel."""
    from rimward.base.atmosphere import ambient_pa

    width, bead = (int(part) for part in case.tyre.split("-"))
    inner = float(case.rim.split("x")[1].rstrip("TSC"))
    make = line if case.source == "line" else compressor
    settings = {
        "tyre_ml": tyre_ml(width, bead, inner),
        "pin_open": case.chuck == "pin-open",
        "tyre_pa": case.start_bar * 1e5,
    }
    settings |= {
        "room_k": case.temp_c + 273.15,
        "ambient_abs_pa": ambient_pa(case.altitude_m),
        **case.plant,
    }
    return make(**settings)


def patient(person: Person, inflator: VirtualInflator) -> None:
    """Hold, confirm, release at the end."""
    person.fill(FILL_S)


def fidgety(person: Person, inflator: VirtualInflator) -> None:
    """Release the run control every second and a half."""
    for _ in range(40):
        inflator.hands.run = True
        inflator.advance(1.5)
        inflator.hands.run = False
        if person.status()["waiting"] == "bead-seated":
            inflator.press("enter")
        inflator.advance(0.3)
        if person.status()["state"] in ("done", "stopped", "tripped"):
            break


def walks_away(person: Person, inflator: VirtualInflator) -> None:
    """Let go in mid-fill and take the hose off."""
    person.hold(4.0)
    inflator.advance(1.0)
    inflator.hands.attached = False
    inflator.advance(3.0)


def never_confirms(person: Person, inflator: VirtualInflator) -> None:
    """Go on holding at the bead pause without a word."""
    person.hold(25.0)


PERSONS = {
    "patient": patient,
    "fidgety": fidgety,
    "walks-away": walks_away,
    "never-confirms": never_confirms,
}


def record(case: Case) -> bytes:
    """One session, recorded on the virtual inflator."""
    data = profile_for(case)
    rows = (
        plant_faults.events(case.fault, round(case.at_s * 500), case.severity) if case.fault else ()
    )
    with VirtualInflator(
        plant_for(case), seed=len(case.name), faults=rows, interpreter=find_interpreter()
    ) as inflator:
        inflator.hands.range_high = case.range_high
        person = Person(inflator)
        if case.source == "line":
            use_line(person, inflator)
        stored = person.bring(tag_profile(KEY, data))
        person.choose(bytes.fromhex(stored["wheel_id"]))
        PERSONS[case.person](person, inflator)
        person.let_settle(4.0)
        verbs.choose_wheel(person.client)  # another wheel: the cycle before is closed
        inflator.advance(1.0)
        target = RECORDS / f"{case.name}.part"
        verbs.pull_session(person.client, 0, target)
        session = target.read_bytes()
        target.unlink()
        return session


def use_line(person: Person, inflator: VirtualInflator) -> None:
    """Tell the inflator that its air comes from a workshop line."""
    import struct

    person.put(5, struct.pack("<BII", 1, 0, 900_000))


def load(name: str) -> bytes:
    """A session of the corpus."""
    return lzma.decompress((RECORDS / f"{name}.rws.xz").read_bytes())


def reference_path(name: str) -> Path:
    """File of its recorded decisions."""
    return RECORDS / f"{name}.json"


def update_reference(name: str) -> bool:
    """Write the decisions of a session; prints what changed. True if anything did."""
    found = decisions(read_session(load(name)))
    path = reference_path(name)
    was = json.loads(path.read_text()) if path.exists() else []
    lines = compare(was, found)
    if not lines:
        return False
    print(f"{name}: {'new' if not was else 'changed'}, {len(found)} decisions")
    for text in lines if was else ():
        print("  " + text.replace("\n", "\n  "))
    path.write_text("[\n" + ",\n".join(json.dumps(decision.row()) for decision in found) + "\n]\n")
    return True


def main(names: list[str]) -> int:
    """Records what is named, then brings references up to date."""
    RECORDS.mkdir(exist_ok=True)
    wanted = {case.name for case in CASES} if "--all" in names else set(names)
    unknown = wanted - {case.name for case in CASES}
    if unknown:
        print(f"no such case: {', '.join(sorted(unknown))}")
        return 2
    failed = 0
    for case in CASES:
        if case.name in wanted:
            try:
                (RECORDS / f"{case.name}.rws.xz").write_bytes(lzma.compress(record(case), preset=9))
            except Refusal as refusal:
                print(f"{case.name}: {refusal}")
                failed = 1
                continue
        if (RECORDS / f"{case.name}.rws.xz").exists():
            update_reference(case.name)
    return failed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
