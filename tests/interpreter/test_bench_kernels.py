"""The bench's two kernels as machine code decide as written, on the real interpreter, over made-up tests; and on CPython as there."""

from array import array

import pytest
from rimward.kernels import bench as build
from rimward_fw.bench import fill as bench_fill
from rimward_protocol import kernel_slots as slots
from rimward_protocol import kernel_words

RUN = """
from array import array
from rimward_protocol import kernel_slots as slots
OVER = 15  # of the bench's fill controller
def pairs(guard, fill, other_guard, other_fill, seed, ticks, boot, xs, ys):
    s = seed
    g = array("i", [0] * %d); x = array("i", [0] * 24); f = array("i", [0] * %d); y = array("i", [0] * %d)
    boot(g)
    for i in range(18):
        x[6 + i] = xs[i]
    for i in range(len(ys)):
        y[6 + i] = ys[i]
    g2, f2 = array("i", g), array("i", f)
    tyre, air, sw, out, total = 0, 0, 6, 0, 0
    for n in range(ticks):
        s = (s * 1103 + 12345) & 0xFFFFF
        r = s >> 3
        if n == 200:
            sw |= 1
        if r %% 9000 == 0 and n > 3000:
            sw ^= 1
        if r %% 2500 == 1:
            tyre = tyre * 7 // 8
        if r %% 30000 == 2:
            tyre = 0
        if r %% 4000 == 3:
            f[slots.F_STATE] = f2[slots.F_STATE] = r %% 17
        if r %% 4000 == 4:
            f[OVER] = f2[OVER] = r %% 60000
        code = (tyre + 200000) * 512 // 15625
        x[slots.X_A] = max(0, min(65535, code + r %% 5)); x[slots.X_B] = max(0, min(65535, code + r %% 7))
        x[slots.X_SW] = sw | (64 if f[slots.F_STATE] == 7 and r %% 50 == 0 else 0)
        x[slots.X_LOAD], x[slots.X_GAP], x[slots.X_SUPPLY] = 4, 16, 78
        y[slots.Y_READ], y[slots.Y_MEAN] = g[slots.G_READ] - 600000, ((g[slots.G_FA] + g[slots.G_FB]) >> 5) - 600000
        y[slots.Y_OUT], y[slots.Y_SW], y[slots.Y_WHY], y[slots.Y_CAUSE] = out, x[slots.X_SW], g[slots.G_WHY], g[slots.G_CAUSE]
        one, two = fill(f, y), other_fill(f2, y)
        x[slots.X_SW] = x[slots.X_SW] & 0xFFEF | (one & 1) << 4
        out, out2 = guard(g, x), other_guard(g2, x)
        assert one == two and out == out2 and g == g2 and f == f2, (seed, n, one, two, out, out2, list(f), list(f2))
        total = (total * 31 + one * 64 + out) & 0xFFFFF
        air = min(air + 12, 160) if out & 3 == 3 else max(air - 20, 0)
        tyre += air
        if out & 4 or one & 2:
            tyre -= tyre // 64
    return total
""" % (len(kernel_words.GUARD_STATE), len(kernel_words.FILL_STATE), len(kernel_words.FILL_INPUT))  # noqa: UP031
SEEDS = (1, 2, 3, 4, 5, 6)
TICKS = 12_000


def slow_words():
    """Slow words of a short test: holds of a second, 50 kPa a second."""
    from rimward.proof import bench
    from rimward.wheels.keys import Key, Ring
    from rimward_fw.bench import app as firmware
    from rimward_protocol import layout

    data = bench.profile_of(
        bench.Test(500_000, top_pa=650_000), Ring((Key(b"k" * 32, "2025-01-01"),), "here")
    )
    here = {
        "ambient_pa": 101_325,
        "t0_ck": 29_315,
        "guard_pa": 16_000,
        "conn": 1,
        "gain_a": 15_625,
        "gain_b": 15_625,
        "off_a": -200_000,
        "off_b": -200_000,
    }
    code, xs, ys = firmware.limits(layout.unpack(layout.PROFILE, data), here | {"job": 1})
    assert code == 0
    xs[10] = 0  # neither transducer needs the barometer in this model
    xs[9] = 0
    xs[9] = slots.CHECK - sum(xs[1:])
    for at in (12, 13, 14, 15):
        ys[at - 6] = 500
    ys[17 - 6] = 1600
    return xs, ys


def on_cpython(seed):
    space: dict = {"array": array}
    exec(RUN, space)
    guard = build.guard_module()
    return space["pairs"](
        guard.step,
        bench_fill.step,
        guard.step,
        bench_fill.step,
        seed,
        TICKS,
        guard.boot,
        *slow_words(),
    )


@pytest.fixture(scope="module")
def folder(device_folder):
    for name, text in (
        ("guard", build.kernel_files()["kernels/guard.py"]),
        ("fill", build.kernel_files()["kernels/fill.py"]),
    ):
        (device_folder / f"plain_bench_{name}.py").write_text(text)
    (device_folder / "bench_pairs.py").write_text(RUN)
    return device_folder


def test_cpython_and_micropython_give_the_same_bits(folder, on_unix):
    xs, ys = slow_words()
    code = f"import bench_pairs, plain_bench_guard as pg, plain_bench_fill as pf\nxs, ys = {xs}, {ys}\n"
    code += "".join(
        f"print(bench_pairs.pairs(pg.step, pf.step, pg.step, pf.step, {seed}, {TICKS}, pg.boot, xs, ys))\n"
        for seed in SEEDS
    )
    totals = [int(word) for word in on_unix(code).split()]
    assert totals == [on_cpython(seed) for seed in SEEDS]
    assert len(set(totals)) == len(SEEDS)


def test_32_bits_are_enough(folder, on_wasi):
    """Small integers of 31 bits: a value that passed them would allocate, and one past int32 would come back changed."""
    xs, ys = slow_words()
    code = "import bench_pairs, plain_bench_guard as pg, plain_bench_fill as pf\n"
    code += f"print(bench_pairs.pairs(pg.step, pf.step, pg.step, pf.step, 1, {TICKS}, pg.boot, {xs}, {ys}))\n"
    assert int(on_wasi(code)) == on_cpython(1)


def test_a_changed_kernel_is_told_apart(folder, on_unix):
    text = (folder / "plain_bench_fill.py").read_text()
    changed = text.replace("_SPARE = const(1500)", "_SPARE = const(1501)")
    assert changed != text
    (folder / "wrong_bench_fill.py").write_text(changed)
    xs, ys = slow_words()
    code = "import bench_pairs, plain_bench_guard as pg, plain_bench_fill as pf, wrong_bench_fill as wf\n"
    code += f"print(bench_pairs.pairs(pg.step, pf.step, pg.step, wf.step, 1, {TICKS}, pg.boot, {xs}, {ys}))\n"
    with pytest.raises(AssertionError):
        on_unix(code)
