"""The bench's firmware comes from the ordinary one; its guard is the same guard with other constants. Limits are literals here."""

from array import array

import pytest
from rimward.device.install import plan
from rimward.kernels import bench as build
from rimward.kernels.assemble import assemble
from rimward_fw.bench import app as bench
from rimward_fw.kernels import guard
from rimward_protocol import kernel_slots as slots
from rimward_protocol import kernel_words

from tests import made

WANTED = {
    "_KEY_LOW = const(2)": "_KEY_LOW = const(6)",
    "_KEY_HIGH = const(4)": "_KEY_HIGH = const(65536)",
    "_LOW_CEIL = const(500000)": "_LOW_CEIL = const(1000000)",
    "_HIGH_CEIL = const(900000)": "_HIGH_CEIL = const(1000000)",
}
BOTH, LOW, HIGH = 6, 2, 4
RUN, WANT = 1, 16


def test_the_derived_guard_differs_in_exactly_four_constants():
    old, new = (
        assemble(build.GUARD).replace("_000", "000").splitlines(),
        build.bench_guard().splitlines(),
    )
    assert len(old) == len(new)
    assert {a: b for a, b in zip(old, new) if a != b.replace("_000", "000")} == WANTED


def test_a_limit_that_the_guard_does_not_have_is_refused():
    with pytest.raises(ValueError, match="_NO_SUCH_LIMIT"):
        assemble(build.GUARD, {"_NO_SUCH_LIMIT": 1})


def test_main_starts_the_bench_and_nothing_else_differs():
    text = build.bench_main(
        "import sys\nfrom rimward_fw import app, board\napp.run(board.here())\n"
    )
    assert (
        text
        == "import sys\nfrom rimward_fw import board\n        from rimward_fw.bench import app\napp.run(board.here())\n"
    )
    with pytest.raises(ValueError, match="does not start"):
        build.bench_main("import sys\n")


def test_the_tree_is_whole_and_holds_the_bench_s_kernels(tmp_path):
    main = build.write_tree(tmp_path)
    package = tmp_path / "rimward_fw"
    assert "rimward_fw.bench import app" in main.read_text()
    ordinary = {
        p.relative_to(build._package())
        for p in build._package().rglob("*")
        if p.suffix in (".py", ".txt")
    }
    copied = {p.relative_to(package) for p in package.rglob("*") if p.suffix in (".py", ".txt")}
    assert {str(p) for p in ordinary - copied} == set()
    changed = {
        str(p) for p in copied if (package / p).read_bytes() != (build._package() / p).read_bytes()
    }
    assert changed == {"kernels/guard.py", "kernels/fill.py"}
    text = (package / "kernels/guard.py").read_text()
    assert (
        "_HIGH_CEIL = const(1000000)" in text
        and "_KEY_HIGH = const(65536)" in text
        and "900000" not in text
    )


def test_the_bench_starts_only_on_the_bench_s_guard():
    assert bench.built_right(build.guard_module())
    assert not bench.built_right(guard)


@pytest.mark.parametrize("ceiling", ["999_999", "1_000_001", "1_040_000"])
def test_a_guard_with_another_ceiling_is_found(monkeypatch, ceiling):
    monkeypatch.setitem(build.LIMITS, "_HIGH_CEIL", ceiling)
    build.guard_module.cache_clear()
    try:
        assert not bench.built_right(build.guard_module())
    finally:
        build.guard_module.cache_clear()


def limits(ceiling):
    """Slow inputs of a bench test at sea level that ask for this ceiling."""
    x = array("i", [0] * len(kernel_words.GUARD_INPUT))
    row = {
        "air_max": 1_000_000,
        "time_max": 100_000,
        "norise": 2_000,
        "test_len": 50,
        "conn": 1,
        "flags": 5,
        "gain_a": 15_625,
        "off_a": -98_675,
    }
    row |= {
        "gain_b": 15_625,
        "off_b": -200_000,
        "d0": 32,
        "d1": 0,
        "horizon": 22,
        "ceil_pa": ceiling,
        "band_pa": 16_000,
        "rise_pa": 3_000,
    }
    for name, value in row.items():
        x[kernel_words.GUARD_INPUT.index(name)] = value
    x[slots.X_AMBIENT] = 101_325
    x[kernel_words.GUARD_INPUT.index("chk")] = slots.check_word(x)
    x[slots.X_LOAD], x[slots.X_GAP], x[slots.X_SUPPLY] = 3, 16, 78
    return x


def driven(step, ceiling, key, pressure_pa=100_000, ticks=400):
    """True if the gate was driven while the run control was held after a second at rest; and the final state."""
    g, x = array("i", [0] * len(kernel_words.GUARD_STATE)), limits(ceiling)
    guard.boot(g)
    x[slots.X_A] = x[slots.X_B] = round((0.1 + 0.8 * pressure_pa / 1.6e6) * 65536)
    ran = False
    for tick in range(ticks + 100):
        x[slots.X_SW] = key | (RUN | WANT if tick > 100 else 0)
        out = step(g, x)
        ran = ran or out & 19 == 19
    return ran, g


@pytest.mark.parametrize("key", [0, LOW, HIGH, 65536, LOW | 65536, BOTH | 65536, 8192, BOTH | 8192])
@pytest.mark.parametrize("ceiling", [580_000, 1_000_000])
def test_no_other_key_position_runs(key, ceiling):
    assert driven(build.guard_module().step, ceiling, key)[0] is False


@pytest.mark.parametrize(
    "ceiling", [30_000, 499_999, 500_000, 500_001, 899_999, 900_001, 999_995, 999_999, 1_000_000]
)
def test_up_to_the_compiled_ceiling_it_runs_in_the_bench_position(ceiling):
    assert driven(build.guard_module().step, ceiling, BOTH, pressure_pa=5_000)[0] is True


@pytest.mark.parametrize("ceiling", [1_000_001, 1_000_005, 1_048_575, 1_048_576, 1_500_000])
def test_above_it_nothing_runs(ceiling):
    ran, g = driven(build.guard_module().step, ceiling, BOTH, pressure_pa=5_000)
    assert ran is False and g[slots.G_CAUSE] == 33


@pytest.mark.parametrize(
    "pressure_pa,runs", [(950_000, True), (984_000, False), (1_200_000, False)]
)
def test_the_stop_reading_holds_as_ever(pressure_pa, runs):
    assert driven(build.guard_module().step, 1_000_000, BOTH, pressure_pa)[0] is runs


@pytest.mark.parametrize("ceiling", [400_000, 500_000, 800_000])
def test_an_ordinary_guard_takes_the_bench_position_for_a_broken_key(ceiling):
    ran, g = driven(guard.step, ceiling, BOTH, pressure_pa=5_000)
    assert ran is False and g[slots.G_CAUSE] == 27


@pytest.mark.parametrize("compiled", [False, True])
def test_install_puts_the_bench_s_files_on_a_bench_and_none_of_them_elsewhere(compiled):
    suffix = ".mpy" if compiled else ".py"
    both = (
        (made.items(), made.items(bench=True))
        if compiled
        else (plan.items(False), plan.bench_items(False))
    )
    ordinary, benches = ({item.path: item.data for item in items} for items in both)
    # Compiled, everything that stays in memory is in the module that main.py starts: the bench's application or the ordinary one.
    own = ("__init__", "app", "fill", "limits") if compiled else ("app", "fill", "limits", "trace")
    joined = {"/lib/rimward_fw/app.mpy"} if compiled else set()
    assert set(benches) - set(ordinary) == {f"/lib/rimward_fw/bench/{name}{suffix}" for name in own}
    assert set(ordinary) - set(benches) == joined
    changed = {path for path in set(ordinary) - joined if ordinary[path] != benches[path]}
    if compiled:  # names are shortened for all modules together, so more files differ
        changed &= {path for path in ordinary if "/kernels/" in path or path == "/main.py"}
    kernels = {f"/lib/rimward_fw/{name}{suffix}" for name in ("kernels/guard", "kernels/fill")}
    assert changed == kernels | {"/main.py"}
