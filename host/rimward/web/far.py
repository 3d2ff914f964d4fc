"""Short instructions that are read at two metres: at most two lines of `LETTERS` letters, from the sentence that stands below them."""

from typing import Any

LETTERS = 12  # a line on a phone of 360 px

HOLD = "Keep hold/of RUN"
# state of a fill -> instruction while nothing is asked and nothing has stopped it
STATES = {
    "idle": "Send/a wheel",
    "ready": "Wait, see/its display",
    "asking": "Answer/at inflator",
    "self-test": HOLD,
    "purge": HOLD,
    "measuring": HOLD,
    "filling": HOLD,
    "seat-pause": "Look at/the bead",
    "settling": HOLD,
    "probing": HOLD,
    "topping-up": HOLD,
    "bleeding": "Hold DOWN/to bleed",
    "leak-watch": HOLD,
    "done": "Release RUN/hose off",
    "stopped": "Release RUN",
    "tripped": "Stand clear",
}
# what the inflator waits for -> instruction; a question ends with its mark
WAITINGS = {
    "bead-seated": "Bead seated/all round?",
    "stood-an-hour": "Stood here/an hour?",
    "new-wheel": "Right tyre/and rim?",
    "delete": "Press/WORKSHOP",
    "take-key": "Press/WORKSHOP",
    "take-setting": "Press/WORKSHOP",
    "hold-to-run": "Hold RUN/to fill",
    "clear": "Read cause/clear it",
    "which-wheel": "Is it/this wheel?",
    "printed-maximum": "Enter tyre/maximum",
    "approval": "Approved for/hookless?",
    "target": "Enter/target",
    "looser-limits": "New limits/right?",
}
# cause of a stop -> instruction
CAUSES = {
    "released": "Hold RUN/again",
    "stop-reading": "No more air/let settle",
    "target-reached": "Release RUN/hose off",
    "time-budget": "Find leak/start again",
    "air-budget": "Check wheel/find leak",
    "no-profile": "Send/the wheel",
    "hose-or-tyre": "Check hose/and tyre",
    "range-key-refuses": "Range key/to low",
    "not-ready": "Read its/display",
    "sensor-a-range": "Do not use/transducer A",
    "sensor-b-range": "Do not use/transducer B",
    "sensors-disagree": "Do not use/clean taps",
    "sensor-a-frozen": "Do not use/clean tap A",
    "sensor-b-frozen": "Do not use/clean tap B",
    "not-rising": "Check hose/and supply",
    "rising-while-off": "Hose off/now",
    "over-pressure": "Stand clear/let air out",
    "tick-long": "Switch off/and on",
    "tick-late": "Switch off/and on",
    "sensor-supply": "Check/its supply",
    "range-key-contacts": "Turn key/fully home",
    "gate-element-stuck": "Do not use/pump switch",
    "relay-stuck": "Do not use/relay",
    "independent-cutoff": "Hose off/find out why",
    "barometer": "Do not use/barometer",
    "memory": "Switch off/and on",
    "limits-damaged": "Switch off/and on",
    "wrong-volume": "Check wheel/tyre size",
    "above-target": "Let air out",
    "not-seen": "Feel tyre/see hose",
    "leaking": "Find leak/valve, bead",
    "no-tyre": "Chuck home/valve open",
    "not-settling": "Find leak/let stand",
    "bead-not-confirmed": "Look at bead/confirm",
    "target-above-stop": "Choose/less target",
    "instrument-overdue": "Calibrate/it first",
    "cartridge-first-measure": "Measure/tyre first",
    "cutoff-sensor-apart": "Do not use/clean tap C",
    "cutoff-figures": "Release/test button",
    "cutoff-unread": "Do not use/check U9",
    "cutoff-test-failed": "Do not use/service it",
    "vent-slow": "Do not use/clean vent",
    "not-commissioned": "Bring it up/first",
    "beat-lost": "Keep page/in front",
    "zero-low": "Do not use/calibrate",
}


def act(status: dict[str, Any]) -> list[str]:
    """Return the one or two lines for a status: a latched cause before a question, a question before the cause of an end.

    `status`: `state`, `waiting` and `cause` as words, `latched`.
    """
    state, waiting, cause = status["state"], status["waiting"], status["cause"]
    if status["latched"] or (state in ("done", "stopped", "tripped") and cause in CAUSES):
        line = CAUSES.get(cause, STATES["tripped"])
    elif (
        state == "asking" and waiting == "hold-to-run"
    ):  # held since before the ceiling was in force
        line = "Release RUN/hold again"
    else:
        line = WAITINGS.get(waiting) or STATES.get(state, "Read its/display")
    return line.split("/")
