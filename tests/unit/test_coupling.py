"""The one place where simulations look into the kernels' words agrees with the kernels' own names and the protocol's tables."""

from rimward.simulation import coupling as c
from rimward_protocol import causes, codes, enumerations
from rimward_protocol.kernel_words import FILL_INPUT, FILL_STATE, GUARD_INPUT, GUARD_STATE


def test_indices_are_those_of_the_kernels_words():
    for table, wanted in (
        (GUARD_STATE, {"cause": c.G_CAUSE, "stop": c.G_STOP, "why": c.G_WHY, "armed": c.G_ARMED}),
        (GUARD_INPUT, {"sw": c.X_SWITCHES, "load": c.X_LOAD, "gap": c.X_GAP, "ambient": c.X_AMBIENT, "ceil_pa": c.X_CEILING, "band_pa": c.X_BAND, "conn": c.X_CONN, "chk": c.X_CHECK}),
        (FILL_STATE, {"state": c.F_STATE, "reason": c.F_REASON, "cnt": c.F_COUNT}),
        (FILL_INPUT, {"read": c.Y_READ, "target_pa": c.Y_TARGET, "conn": c.Y_CONN}),
    ):  # fmt: skip
        assert {name: tuple(table).index(name) for name in wanted} == wanted


def test_states_and_causes_are_those_of_the_protocol():
    states = {
        "filling": c.FILLING,
        "seat-pause": c.BEAD_QUESTION,
        "topping-up": c.TOPPING_UP,
        "done": c.DONE,
        "stopped": c.STOPPED,
        "tripped": c.TRIPPED,
    }
    assert {
        codes.word_of(enumerations.FILL_STATES, number): number for number in states.values()
    } == states
    named = {
        "released": c.RELEASED,
        "time-budget": c.TIME_BUDGET,
        "air-budget": c.AIR_BUDGET,
        "hose-or-tyre": c.PRESSURE_FELL,
        "not-ready": c.NOT_READY,
    }
    assert {causes.row_of(number)[1]: number for number in named.values()} == named
