"""Answers of the person at the inflator to the questions before and after a fill; `FillCycle.pressed` calls them, never with the air on."""

from rimward_protocol import causes, codes, layout
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.control import events, fill_modes
from rimward_fw.control.phases import ASK_COLD, ASK_STOOD, IDLE, NOBODY, OVER
from rimward_fw.ui import buttons

if TYPE_CHECKING:
    from rimward_fw.control.cycle import FillCycle

COLD_STEP_CK = 250
COLDEST_CK = 25315


def ask_wheel(cycle: "FillCycle", bits: int, yes: int, no: int) -> None:
    """Handle the answer about wheel identity and looser limits. For an unregistered wheel: the values read off the tyre."""
    if cycle.wheel == NOBODY:
        enter(cycle, bits)
    elif yes or no:
        cycle.answered(codes.WAIT_LIMITS if cycle.old else codes.WAIT_NEW_WHEEL, 1 if yes else 0)
        if yes:
            cycle.app.store.profile_confirm(cycle.wheel)
        cycle.phase = ASK_STOOD if yes else IDLE


def enter(cycle: "FillCycle", bits: int) -> None:
    """Handle a press while the values of an unregistered wheel are entered."""
    entry = cycle.app.entry
    step, value = entry.step, entry.value()
    done = entry.pressed(bits)
    if entry.step != step or done:
        cycle.answered(step, value if step != codes.WAIT_APPROVAL else 1 if done >= 0 else 0)
    if done > 0:
        cycle.profile = entry.profile()
        cycle.values = layout.unpack(layout.PROFILE, cycle.profile)
        cycle.phase = ASK_STOOD
    elif done < 0:
        cycle.phase = IDLE


def ask_cold(cycle: "FillCycle") -> None:
    """Ask for the temperature of a tyre that has not stood here, beginning below air and profile."""
    cycle.t0_ck = min(cycle.app.air_ck(), cycle.values["ref_temp_ck"]) - COLD_STEP_CK
    cycle.phase = ASK_COLD


def ready(cycle: "FillCycle", bits: int) -> None:
    """Handle a press while armed and at rest: UP and DOWN change the target; ENTER begins or ends the seating of tubeless beads."""
    e = cycle.app.engine
    if cycle.measuring:
        return
    if bits & (buttons.UP | buttons.DOWN) and not cycle.seating and not cycle.queue:
        step = fill_modes.TARGET_STEP_PA if bits & buttons.UP else -fill_modes.TARGET_STEP_PA
        target = fill_modes.target_after(e.y[slots.Y_TARGET_PA], step, cycle.highest_pa)
        if target != e.y[slots.Y_TARGET_PA]:
            cycle.queue.append((slots.FIRST_Y_SLOT + slots.Y_TARGET_PA, target))
            cycle.app.note(events.TARGET_CHOSEN, 0, target, e.y[slots.Y_TARGET_PA])
    elif bits & buttons.ENTER and cycle.seating:
        cycle.leave(causes.RELEASED)
        cycle.phase = OVER
        cycle.question = "seat-done"
    elif bits & buttons.ENTER and cycle.values["flags"] & codes.FLAG_TUBELESS:
        cycle.leave(causes.RELEASED)
        cycle.arm(cycle.t0_ck, True)


def asked(cycle: "FillCycle", yes: int, no: int) -> None:
    """Handle answers after seating (seated all round, then core in and on to the fill; else vent and start again) and after
    measuring.
    """
    if cycle.question == "seat-done" and (yes or no):
        cycle.answered(codes.WAIT_BEAD, 1 if yes else 0)
        cycle.question = "seat-next" if yes else "seat-again"
    elif yes and cycle.question in ("seat-next", "seat-again"):
        again = cycle.question == "seat-again"
        cycle.question = ""
        cycle.arm(cycle.t0_ck, again)
    elif cycle.question == "no-record" and (yes or no):
        cycle.app.note(events.ANSWER, causes.MEMORY, 0, 1 if yes else 0)
        cycle.question, cycle.recordless, cycle.phase = "", bool(yes), IDLE
        if yes:
            cycle.arm(*cycle.asked_arm)
    elif yes and cycle.question == "added":
        cycle.question = ""
        ask_cold(cycle)
    elif yes and cycle.question == "measured":
        cycle.question = ""
        cycle.added = False
        cycle.arm(cycle.t0_ck)
    elif no and cycle.question == "measured":
        cycle.question = ""
        cycle.phase = IDLE
    elif yes:
        cycle.question = ""
        cycle.phase = IDLE


def cold(cycle: "FillCycle", bits: int) -> None:
    """Set the tyre's stated temperature, limited to the measured air temperature."""
    if bits & buttons.DOWN:
        cycle.t0_ck = max(COLDEST_CK, cycle.t0_ck - COLD_STEP_CK)
    elif bits & buttons.UP:
        cycle.t0_ck = min(cycle.app.air_ck(), cycle.t0_ck + COLD_STEP_CK)
    elif bits & buttons.ENTER:
        cycle.answered(codes.WAIT_STOOD, cycle.t0_ck)
        cycle.arm(cycle.t0_ck)
