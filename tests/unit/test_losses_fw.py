"""What the inflator keeps of a wheel: loss between fills, cases without a result, its line on the display; and the spring of the core."""

import struct
from types import SimpleNamespace

import pytest
from rimward.sessions import loss as host
from rimward.sessions import visit
from rimward_fw.control import left, losses
from rimward_fw.storage import records
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

    def visit(
        self, found, left, wheel=b"wheel001", cause=causes.TARGET_REACHED, words=(0, 0), **more
    ):
        """One fill: found and left in Pa gauge (found None: the tyre is never seen). Gives the inflator's figures.

        `words`: pressure as the kernel first saw the tyre, and the core's spring that it took.
        """
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
        self.armed_with = self.losses.spring
        self.engine.f[slots.F_START], self.engine.f[slots.F_SPRING] = words
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


@pytest.fixture
def pressing(tmp_path):
    return Bench(tmp_path, codes.CHUCK_PRESSURE_OPEN)


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


LEARNT = {"words": (3_000, 14_000)}  # Pa: the first reading at rest was 17 kPa
ASSUMED = {"words": (250_000, 6_000)}


def test_a_spring_learnt_from_empty_arms_the_next_fills_of_its_wheel_alone(pressing):
    pressing.visit(3_000, 390_000, **LEARNT)
    assert pressing.armed_with == 0
    pressing.visit(250_000, 390_000, wheel=b"wheel002", **ASSUMED)
    assert pressing.armed_with == 0
    for _ in range(2):
        pressing.visit(250_000, 390_000, **ASSUMED)
        assert pressing.armed_with == 14_000
    pressing.visit(3_000, 390_000, words=(0, 9_000))
    pressing.visit(250_000, 390_000, **ASSUMED)
    assert pressing.armed_with == 9_000, "a fill from empty replaces it"


@pytest.mark.parametrize(("start", "kept"), [(21_999, 14_000), (22_000, 0)])
def test_the_first_reading_at_rest_says_whether_a_spring_was_learnt(pressing, start, kept):
    pressing.visit(start, 390_000, words=(start, 14_000))
    pressing.visit(250_000, 390_000, **ASSUMED)
    assert pressing.armed_with == kept


@pytest.mark.parametrize(
    "change",
    [
        {"cause": causes.RELEASED},
        {"cause": causes.ABOVE_TARGET},
        {"measuring": True},
        {"seating": True},
        {"found": None},
        {"words": (0, 0)},
    ],
)
def test_a_fill_that_is_not_done_teaches_no_spring_and_loses_none(pressing, change):
    pressing.visit(**{"found": 3_000, "left": 390_000, **LEARNT, **change})
    pressing.visit(250_000, 390_000, cause=causes.RELEASED, **ASSUMED)
    assert pressing.armed_with == 0
    pressing.visit(3_000, 390_000, **LEARNT)
    pressing.visit(**{"found": 3_000, "left": 390_000, "words": (1_000, 20_000), **change})
    pressing.visit(250_000, 390_000, **ASSUMED)
    assert pressing.armed_with == 14_000


@pytest.mark.parametrize("change", [{"volume_ml": TYRE_ML + 1}, {"flags": codes.FLAG_TUBELESS}])
def test_another_tyre_or_tube_forgets_the_spring_and_not_the_pressure(pressing, change):
    pressing.visit(3_000, 390_000, **LEARNT)
    values = {"chuck": pressing.chuck, "volume_ml": TYRE_ML, "flags": 0}
    other = {"values": values | change}
    pressing.now += 7 * DAY_S
    assert pressing.visit(360_000, 390_000, **ASSUMED, **other).rate is not None
    assert pressing.armed_with == 0
    pressing.visit(360_000, 390_000, **ASSUMED)
    assert pressing.armed_with == 0, "it is not taken back either"
    same = {"values": values | {"flags": codes.FLAG_RIDE_STATED}}
    pressing.visit(3_000, 390_000, **LEARNT)
    pressing.visit(360_000, 390_000, **ASSUMED, **same)
    assert pressing.armed_with == 14_000


def test_a_spring_needs_no_clock_and_a_flash_of_before_has_none(pressing):
    pressing.now = 0
    pressing.visit(3_000, 390_000, **LEARNT)
    pressing.visit(250_000, 390_000, **ASSUMED)
    assert pressing.armed_with == 14_000
    rows = [(b"wheel%03d" % n, START_S + n, 485_000, 7_000, DAY_S, 1) for n in range(left.KEPT)]
    pressing.store.put("left", b"".join(struct.pack("<8sIiiIB", *row) for row in rows))
    pressing.now = START_S + 7 * DAY_S
    assert pressing.visit(360_000, 390_000, wheel=b"wheel007", **LEARNT).rate is not None
    assert pressing.armed_with == 0
    body = pressing.store.get("left")[0]
    assert len(body) == left.KEPT * struct.calcsize(left._ROW) <= records.BODY_MAX
    assert pressing.visit(360_000, 390_000, wheel=b"wheel008", **ASSUMED).rate is not None
    pressing.visit(360_000, 390_000, wheel=b"wheel007", **ASSUMED)
    assert pressing.armed_with == 14_000


def test_no_table_of_before_is_as_long_as_one_of_now():
    old, new = struct.calcsize(left._ROW[: -left._LATER]), struct.calcsize(left._ROW)
    assert all(old * count % new for count in range(1, left.KEPT + 1))


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
