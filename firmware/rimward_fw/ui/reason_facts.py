"""Reason and next step of a stop or refusal, for the display. Main loop only."""

from rimward_protocol import causes, replies
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from rimward_fw.shapes import App

NAMES = ("tripped", "stopped", "refused", "why")  # screens that show them


def reason_facts(app: "App", name: str) -> dict[str, str]:
    """Reason and next step, in the words of log and host."""
    if name == "refused":
        overdue = app.refusal == replies.SETTING_LOCKED
        row = causes.row_of(causes.INSTRUMENT_OVERDUE) if overdue else replies.row_of(app.refusal)
    else:
        e = app.engine
        cause = (
            e.g[slots.G_CAUSE]
            if name == "tripped"
            else e.g[slots.G_WHY]
            if name == "why"
            else app.cycle.cause or e.f[slots.F_REASON]
        )
        row = causes.row_of(cause)
    return {"cause": str(row[0]), "word": row[1], "reason": row[2], "step": row[3]}
