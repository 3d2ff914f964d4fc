"""The inflator's own loss between fills: stored values, computed loss, cases without a result, and its line on the display."""

from types import SimpleNamespace

import pytest
from rimward.sessions import loss as host
from rimward.sessions import visit
from rimward_fw.control import left, losses
from rimward_fw.storage.store import Store
from rimward_fw.ui import display_numbers as show
from rimward_protocol import causes, codes
from rimward_protocol import kernel_slots as slots

DAY_S = 86_400
START_S = 1_750_000_000
AMBIENT_PA, AIR_CK = 99_000, 29_115
CK_20 = losses.REFERENCE_CK
HOSE_ML, TYRE_ML = 30, 1200


class Bench:
    """The parts of an inflator that a loss needs: store, clock, air, the fill controller's words, and one cycle."""

    BENCH = False

    def __init__(self, folder, chuck=codes.CHUCK_PIN_OPEN):
        self.store = Store(str(folder), lambda: False)
        self.store.boot()
        self.now = START_S
        self.clock = SimpleNamespace(unix_s=lambda: self.now)
        self.engine = SimpleNamespace(f=[0] * 40)
        self.ambient, self.air = AMBIENT_PA, AIR_CK
        self.chuck = chuck
        self.hardware = {"manifold_ml": HOSE_ML}
        self.losses = losses.Losses(self)

    def ambient_pa(self):
        return self.ambient

    def visit(self, found, left, wheel=b"wheel001", cause=causes.TARGET_REACHED, **more):
        """One fill: found and left in Pa gauge (found None: the tyre is never seen). Gives the inflator's figures."""
        row = {
            "wheel": wheel,
            "values": {"chuck": self.chuck, "volume_ml": TYRE_ML, "flags": 0},
            "t0_ck": self.air,
            "added": False,
            "seating": False,
            "measuring": False,
            "ran": True,
        }
        cycle = SimpleNamespace(tyre_pa=-1, **{**row, **more})
        self.losses.clear()
        self.losses.begin(cycle)
        if found is not None:
            cycle.tyre_pa = (
                found * TYRE_ML // (TYRE_ML + HOSE_ML)
            )  # a pin-open chuck has let it fill the hose
            self.losses.seen(cycle)
            cycle.tyre_pa = left
            self.losses.seen(cycle)
        self.engine.f[slots.F_COLD] = left
        self.losses.end(cycle, cause)
        self.losses.work()
        return self.losses


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


def test_a_loss_is_that_of_the_same_air_at_20_degrees(bench):
    assert bench.visit(380_000, 390_000).rate is None, "nothing is known of the first fill"
    bench.now += 7 * DAY_S
    bench.ambient, bench.air = 97_000, 27_815
    cold = round(
        (390_000 + AMBIENT_PA) * 27_815 / AIR_CK - 97_000
    )  # the same air on a cold day of low pressure
    found = bench.visit(cold - 28_000, 380_000)
    assert found.rate == pytest.approx(28_000 * CK_20 / 27_815 / 7, abs=2)
    assert (
        found.spread == pytest.approx(losses.SPREAD_PA[codes.CHUCK_PIN_OPEN] / 7, abs=1)
        and not found.slow_leak
    )
    assert show.loss(found.rate, found.spread, False) == "lost 0.04 bar/d"
    bench.now += 7 * DAY_S
    again = Bench.visit(bench, 380_000 - 1_000, 390_000)
    assert show.loss(again.rate, again.spread, False) == "lost <0.02 bar/d", (
        "less than its uncertainty: what it is at most"
    )


def test_the_spread_is_not_smaller_than_the_hosts_own_uncertainty():
    for chuck, name in (
        (codes.CHUCK_PIN_OPEN, "pin-open"),
        (codes.CHUCK_PRESSURE_OPEN, "pressure-open"),
    ):
        warm = (
            2 * (500_000 / 293.0 * visit.U_TEMPERATURE_K) ** 2
        )  # both fills' temperatures, at 4 bar gauge
        u = (visit.U_FOUND_PA[name] ** 2 + visit.U_LEFT_PA[name] ** 2 + warm) ** 0.5
        assert losses.SPREAD_PA[chuck] >= host.COVERAGE * u


@pytest.mark.parametrize(
    ("days", "more"),
    [
        (0.2, {}),
        (130, {}),
        (7, {"added": True}),
        (7, {"seating": True}),
        (7, {"found": 20_000}),
        (7, {"found": 420_000}),
        (7, {"found": None}),
        (7, {"wheel": b"wheel002"}),
    ],
)
def test_unsupported_fills_give_no_loss(bench, days, more):
    bench.visit(380_000, 390_000)
    bench.now += round(days * DAY_S)
    assert bench.visit(**{"found": 360_000, "left": 390_000, **more}).rate is None


def test_without_a_clock_no_loss_is_computed_and_no_old_value_kept(bench):
    bench.visit(380_000, 390_000)
    now, bench.now = bench.now, 0
    assert bench.visit(360_000, 390_000).rate is None
    bench.now = now + 7 * DAY_S
    assert bench.visit(360_000, 390_000).rate is None, "the fill between had no date"


@pytest.mark.parametrize(
    "change", [{"cause": causes.RELEASED}, {"measuring": True}, {"seating": True}, {"found": None}]
)
def test_a_fill_that_did_not_end_at_its_target_leaves_no_figure(bench, change):
    bench.visit(380_000, 390_000)
    bench.now += DAY_S
    bench.visit(**{"found": 380_000, "left": 385_000, **change})
    bench.now += 6 * DAY_S
    assert bench.visit(360_000, 390_000).rate is None


def test_a_wheel_that_was_only_chosen_keeps_what_is_known_of_it(bench):
    bench.visit(380_000, 390_000)
    bench.visit(None, 0, cause=causes.RELEASED, ran=False)
    bench.now += 7 * DAY_S
    assert bench.visit(360_000, 390_000).rate is not None


def test_a_loss_that_grew_is_a_slow_leak_and_a_steady_one_is_not(bench):
    bench.visit(380_000, 390_000)
    steady = []
    for _ in range(4):
        bench.now += 7 * DAY_S
        steady.append(bench.visit(375_000, 390_000).slow_leak)
    assert steady == [False] * 4
    bench.now += 7 * DAY_S
    assert bench.visit(330_000, 390_000).slow_leak
    other = b"wheel002"
    bench.visit(380_000, 390_000, wheel=other)
    bench.now += DAY_S
    assert bench.visit(320_000, 390_000, wheel=other).slow_leak, (
        "more than a tenth in a day needs no history"
    )


def test_a_full_table_forgets_the_wheel_that_was_left_longest_ago(bench):
    for number in range(left.KEPT + 1):
        bench.now += 60
        bench.visit(380_000, 390_000, wheel=b"wheel%03d" % number)
    bench.now += 7 * DAY_S
    assert bench.visit(380_000, 390_000, wheel=b"wheel000").rate is None
    assert bench.visit(380_000, 390_000, wheel=b"wheel002").rate is not None
    body = bench.store.get("left")[0]
    bench.store.put("left", body[:-3])
    assert bench.visit(380_000, 390_000, wheel=b"wheel003").rate is None, (
        "a record of another length says nothing"
    )


def test_while_air_may_move_nothing_is_written(bench):
    bench.store.locked = lambda: True
    bench.visit(380_000, 390_000)
    assert bench.store.get("left") is None
    bench.store.locked = lambda: False
    bench.losses.work()
    assert bench.store.get("left") is not None


@pytest.mark.parametrize(
    ("rate", "spread", "bar", "psi"),
    [
        (4_000, 1_300, "lost 0.04 bar/d", "lost 0.6 psi/d"),
        (500, 1_300, "lost <0.02 bar/d", "lost <0.3 psi/d"),
        (-900, 1_300, "lost <0.02 bar/d", "lost <0.2 psi/d"),
        (250_000, 1, "lost 2.50 bar/d", "lost 36.3 psi/d"),
    ],
)
def test_the_line_fits_the_display_in_both_units(rate, spread, bar, psi):
    assert (show.loss(rate, spread, False), show.loss(rate, spread, True)) == (bar, psi)
    assert len(bar) <= 16 and len(psi) <= 16
