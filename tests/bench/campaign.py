"""The claim of set D: a campaign's highest true pressure over the ceiling."""

import json
import tempfile
from pathlib import Path

from rimward.simulation.campaign.run import plan_of, run
from rimward.simulation.campaign.store import Results, plan_in
from rimward.simulation.campaign.summary import summary

from tests.bench.row import Row

SESSIONS = 1_000_000
results: Path | None = None  # of a campaign that was run before


def rows(quick: bool) -> list[Row]:
    """One row, from the results given or a campaign run now."""
    if results is not None:
        with results.open("rb") as file:
            plan = plan_in(file.readline(), results)
        found = Results(results, plan)
    else:
        plan = plan_of(100 if quick else SESSIONS, 1, ("all",))
        with tempfile.TemporaryDirectory() as folder:
            found = run(
                plan, Path(folder) / "results.bin", lambda *_: None, workers=1 if quick else 0
            )
    figures = summary(found.rows(), plan.sessions, plan.seed)
    about = {
        "sessions": figures["sessions"],
        "set_d": figures["set_d_sessions"],
        "exceedances": figures["exceedances"],
        "million_ticks": figures["ticks"] / 1e6,
    }
    about |= {
        "residual": json.dumps(
            {row["fault"]: round(row["ratio_max"], 3) for row in figures["residual"]}
        )
    }
    name = f"true tyre pressure / ceiling over {figures['sessions']} sessions, set D"
    return [
        Row(
            name,
            [figures["peak_over_ceiling_max"], float(figures["exceedances"])],
            [1.0, 0.0],
            about,
        )
    ]
