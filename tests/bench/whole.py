"""The whole firmware on its interpreter: emulated time over real time, and what of the line a pulled session uses."""

import os
import time
from dataclasses import dataclass
from pathlib import Path

from rimward.device.link import verbs
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of, profile_of
from rimward.simulation.virtual import VirtualInflator

from tests.bench.row import Row
from tests.unit.linkbench import pull_ratio

LINE_BYTES_S = 11_520.0  # 115,200 baud


@dataclass(frozen=True)
class Run:
    """A fill: virtual seconds a real second and a second of processor time (inflator and firmware take turns), and its pull."""

    by_the_clock: float
    by_processor: float
    virtual_s: float
    interpreter: str
    pull: float
    payload: int


def cpu_s(pid: int) -> float:
    """Processor time of a running process, s (Linux)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def rows(quick: bool) -> list[Row]:
    """Both rows. Of three fills the fastest counts: what else this machine does can only make one slower; all are shown."""
    runs = [one_fill(quick) for _ in range(1 if quick else 3)]
    best = max(run.by_the_clock for run in runs)
    about = {
        "each": ", ".join(f"{run.by_the_clock:.2f}" for run in runs), "by_processor_time": max(run.by_processor for run in runs),
        "virtual_s": runs[0].virtual_s, "interpreter": runs[0].interpreter,
    }  # fmt: skip
    ratio, payload = runs[0].pull, runs[0].payload
    return [
        Row("whole firmware over emulated time: virtual s a s", [best], [25.0], about, least=True),
        Row(
            "pulling a session: payload / what the line could carry",
            [ratio],
            [0.90],
            {"bytes": payload, "line_bytes_s": LINE_BYTES_S},
            least=True,
        ),
    ]


def one_fill(quick: bool) -> Run:
    """A fill and the pull of its session."""
    with VirtualInflator(plant_of(Scenario())) as inflator:
        person = Person(inflator)
        fields = person.bring(profile_of(Scenario()))
        person.choose(bytes.fromhex(fields["wheel_id"]))
        assert inflator.firmware is not None
        pid = inflator.firmware.process.pid
        start = time.process_time() + cpu_s(pid), time.monotonic(), inflator.now_s
        person.fill(8.0 if quick else 60.0)
        spent = time.process_time() + cpu_s(pid) - start[0]
        real, virtual = time.monotonic() - start[1], inflator.now_s - start[2]
        person.let_settle(4.0)
        person.choose(bytes(8))
        row = verbs.list_sessions(person.client)[0]
        person.client.close()
        ratio, payload = pull_ratio(inflator, row["session"], row["bytes"], LINE_BYTES_S)
    return Run(
        virtual / real, virtual / spent, virtual, inflator.interpreter.name, ratio, len(payload)
    )
