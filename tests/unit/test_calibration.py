"""Calibration against the virtual inflator with known transducer errors: the recovered errors match, and what cannot be right is refused."""

import dataclasses
import datetime
import itertools
import json

import pypdfium2
import pytest
from click.testing import CliRunner
from rimward.calibration import BENCH, ORDINARY, Point, collect, fit_points, in_force, judge_left, keep, sequence, write_back
from rimward.calibration.fit import CONVERTERS, FULL_SCALE_PA
from rimward.commands import calibrate
from rimward.errors import Refusal
from rimward.link import Client, LockstepTransport, verbs
from rimward.plant import compressor
from rimward.plant.sensing import code_edges
from rimward.virtual import VirtualInflator, find_interpreter
from rimward.virtual.inflator import Where
from rimward.virtual.server import Server, hand_pump
from rimward.virtual.setup import confirm

NOMINAL = [50_000, 100_000, 200_000, 300_000, 400_000, 450_000, 490_000]
GAUGE = (1000.0, 2.0, 200.0)  # U, k, resolution
DUE = (datetime.date.today() + datetime.timedelta(days=90)).isoformat()


def synthetic(gain=1.0, offset=0.0, bend=0.0, gap=0.0, nominal=NOMINAL, spread=60.0, b=None, zero_shown=0.0):
    """Points of two transducers that read (true - offset) / gain, A with a bend and a gap between up and down; `b`: gain and offset of B."""
    points = []
    b_gain, b_offset = b or (gain, offset)
    steps = [(True, 0), *((True, pa) for pa in nominal), *((False, pa) for pa in nominal[::-1]), (False, 0)]
    for rising, true in steps:
        a = (true - offset) / gain + (bend if 250e3 < true < 350e3 else 0.0) + (gap if rising else 0.0)
        shown = true if true else zero_shown
        points.append(Point(rising, shown, a, (true - b_offset) / b_gain, spread, 101_325, 29_315))
    return points


def test_recovers_gain_and_offset_exactly_from_clean_points():
    result = fit_points(synthetic(1.008, -3000.0), *GAUGE)
    for channel in result.channels:
        assert channel.gain == pytest.approx(1.008, rel=1e-9)
        assert channel.offset_pa == pytest.approx(-3000.0, abs=1e-3)
        assert channel.residual_pa < 1e-3


def test_guard_band_is_never_below_class_bound_nor_reference():
    assert fit_points(synthetic(), *GAUGE).guard_pa == 10_000
    assert fit_points(synthetic(), 14_000.0, 2.0, 1000.0).guard_pa >= 15_000


def test_a_year_of_drift_is_counted_from_the_start():
    """100 Pa a month over the twelve months until the next calibration, rectangular: 1200 / sqrt(3) Pa."""
    for channel in fit_points(synthetic(), *GAUGE).channels:
        assert channel.terms["drift"] == pytest.approx(1200 / 3**0.5)


def test_the_band_counts_what_lies_above_the_highest_point():
    """Points to 4.9 bar, ceilings to 9 bar: the class's share of the 4.1 bar not visited, rectangular; with points to the end nothing."""
    for channel in fit_points(synthetic(), *GAUGE).channels:
        assert channel.terms["above the points"] == pytest.approx(10_000 * 410_000 / 900_000 / 3**0.5, rel=0.01)
    whole = fit_points(synthetic(nominal=[*NOMINAL, 700_000, 900_000]), *GAUGE)
    assert all("above the points" not in channel.terms for channel in whole.channels)
    assert whole.expanded_pa < fit_points(synthetic(), *GAUGE).expanded_pa


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (synthetic(nominal=NOMINAL[:5]), "at least 6"),
        (synthetic(nominal=[10_000 * n for n in range(1, 8)]), "highest point"),
        (synthetic(bend=8_000.0), "residual"),
        (synthetic(gap=9_000.0), "hysteresis|residual"),
        (synthetic(offset=10_100.0), "Both transducers differ"),
        (synthetic(offset=-10_100.0), "Both transducers differ"),
        (synthetic(offset=10_100.0, b=(1.0, 0.0)), "Transducer A does not calibrate: offset"),
        (synthetic(b=(1.0, -10_100.0)), "Transducer B does not calibrate: offset"),
        (synthetic(gain=1.015, offset=-5_000.0, b=(1.024, -9_000.0)), "gain"),
        (synthetic(spread=5_000.0), "spread"),
        (synthetic(zero_shown=1_300.0), "at open air"),
        (synthetic(zero_shown=-1_300.0), "at open air"),
        ([p for p in synthetic() if not p.zero], "no zero point"),
    ],
)
def test_poor_fit_is_refused_with_its_reason(points, words):
    with pytest.raises(Refusal, match=words):
        fit_points(points, *GAUGE)


def test_what_the_class_allows_is_taken_and_a_bench_has_its_own_class():
    assert fit_points(synthetic(offset=9_900.0), *GAUGE).channels[0].offset_pa == pytest.approx(9_900.0)
    high = [100_000, 250_000, 400_000, 550_000, 700_000, 850_000, 980_000]
    assert fit_points(synthetic(offset=15_900.0, nominal=high), *GAUGE, BENCH).guard_pa >= 16_000
    with pytest.raises(Refusal, match="Both"):
        fit_points(synthetic(offset=16_100.0, nominal=high), *GAUGE, BENCH)
    with pytest.raises(Refusal, match=r"at least 9\.0 bar"):
        fit_points(synthetic(), *GAUGE, BENCH)


def test_a_wrong_reference_never_moves_the_stop_past_the_ceiling():
    """Exact transducers and a reference that reads low or high by so much, its zero with it or not: accepted or not, the true stop holds."""
    refused = 0
    for error in range(-30_000, 30_001, 1_500):
        points = [dataclasses.replace(p, reference_pa=p.reference_pa + error * (not p.zero)) for p in synthetic()]
        try:
            result = fit_points(points, *GAUGE)
        except Refusal:
            refused += 1
            continue
        for channel in result.channels:
            true = (500_000 - result.guard_pa - channel.offset_pa) / channel.gain  # what exact transducers read as the stop is reached
            assert true <= 500_000
    assert refused > 20


def test_corrections_do_not_add_up_past_the_class():
    """Each of two runs is 8 kPa off, within the class; their sum is not."""
    once = {"a": (1.0, 8_000.0), "b": (1.0, 8_000.0)}
    with pytest.raises(Refusal, match="Both"):
        fit_points(synthetic(offset=8_000.0), *GAUGE, ORDINARY, once)
    fit_points(synthetic(offset=-8_000.0), *GAUGE, ORDINARY, once)


def test_the_budget_of_b_covers_what_the_processor_s_converter_does_at_its_code_edges():
    """Signal and supply both go through it: every pressure to 10 bar, every supply of the regulator, edges of the largest size read."""
    worst = 0.0
    for supply_v in (4.75 + 0.005 * n for n in range(101)):
        whole = 0.6 * supply_v / 3.3 * 4096
        for share in (0.1 + 0.002 * n for n in range(401)):
            ratio = code_edges(share * whole, 15.0) / code_edges(whole, 15.0)
            worst = max(worst, abs(ratio - share) / 0.8 * FULL_SCALE_PA)
    converter = CONVERTERS["b"]
    covered = converter.edge_step_lsb * FULL_SCALE_PA / (0.8 * 2**converter.bits)
    assert covered / 2 < worst <= covered * 1.06  # a supply of 4.75 V makes a code 5 % larger
    terms = {c.name: c.terms["code edges"] for c in fit_points(synthetic(), *GAUGE).channels if "code edges" in c.terms}
    assert terms == {"b": pytest.approx(covered / 3**0.5)}


def test_as_left_conforms_inside_the_guard_band_less_the_reference_s_u():
    result = dataclasses.replace(fit_points(synthetic(), *GAUGE), guard_pa=8_000)
    assert result.expanded_pa > 7_000
    allowed = result.guard_pa - 1_000 - 200
    for off, conforms in ((allowed - 1, True), (allowed + 1, False)):
        left = judge_left([Point(True, 400_000.0, 400_000.0 + off, 400_000.0, 60.0, 101_325, 29_315)], result, 1_000.0, 200.0)
        assert left.conforms is conforms and left.worst_pa == pytest.approx(off)


@pytest.fixture
def bench():
    params = compressor(a_offset_pa=4_000.0, a_span_error=-0.006, b_offset_pa=-2_500.0, b_span_error=0.004)
    with VirtualInflator(params, compiled=False) as inflator:
        yield inflator


def at(bench, pa):
    """What a reference on the manifold shows after the hand pump of `rimward virtual` was brought there; zero is open air."""
    hand_pump(bench, round(pa))
    bench.advance(1.0)
    return bench.plant.manifold_pa


def test_known_errors_of_the_virtual_inflator_are_found_and_taken_off(bench):
    client = Client(LockstepTransport(bench))
    points = collect(client, sequence(NOMINAL), lambda step: at(bench, step.nominal_pa))
    result = fit_points(points, *GAUGE, ORDINARY, in_force(client))
    for name, offset, span in (("a", 4_000.0, -0.006), ("b", -2_500.0, 0.004)):
        channel = next(c for c in result.channels if c.name == name)
        read = 400_000.0 * (1 + span) + offset
        assert channel.gain * read + channel.offset_pa == pytest.approx(400_000.0, abs=700.0 if name == "a" else 1_500.0)  # B: code edges
    with pytest.raises(Refusal, match="did not confirm"):
        write_back(client, result, tell=lambda _text: bench.press("down"))
    assert set(write_back(client, result, tell=lambda _text: confirm(bench))) == {"calibration-a", "calibration-b", "guard-band"}
    at(bench, 450_000)
    assert verbs.status(client)["reading_pa"] == pytest.approx(bench.plant.tyre_pa, abs=1500)
    assert bench.plant.tyre_pa > 400_000
    assert verbs.status(client)["guard_pa"] == result.guard_pa


def test_a_stuck_transducer_is_named_and_the_points_before_it_are_kept(bench):
    from rimward.plant import layout as k

    client, kept = Client(LockstepTransport(bench)), []

    def ask(step):
        if len(kept) == 4:
            bench.plant.P[k.P_B_K] = 0.0  # B's tap is blocked from here on
        return at(bench, step.nominal_pa)

    with pytest.raises(Refusal, match=r"Transducer B is stuck: the reference went by \+1\.00 bar"):
        collect(client, sequence(NOMINAL), ask, keep=kept.append)
    assert len(kept) == 4


def test_a_preload_that_was_not_done_is_refused(bench):
    client = Client(LockstepTransport(bench))
    with pytest.raises(Refusal, match="preload reached 2.8[0-9] bar of 4.90 bar"):
        collect(client, sequence(NOMINAL), lambda step: at(bench, 300_000 if step.kind == "preload" else step.nominal_pa))
    with pytest.raises(Refusal, match="not open to the air"):
        collect(client, sequence(NOMINAL), lambda step: at(bench, 490_000 if step.kind == "open" else step.nominal_pa))


BAR = ("0.5", "1", "2", "3", "4", "4.5", "4.9")
RUN = ("0", *BAR, *BAR[::-1], "0")
LEFT = ("0", "0.5", "3", "4.9")
GIVEN = ("--port", "here", "--reference-u", "1 kPa", "--resolution", "0.2 kPa", "--points", ",".join(BAR), "--reference-due", DUE)
SAYS = ("--by", "Ida Moor", "--place", "Larkspur Cycles", "--serial-a", "A-17", "--reference-serial", "R-9", "--reference-certificate", "K 2041")


@pytest.fixture
def guided(bench, monkeypatch, tmp_path):
    """`run(words, typed)`: the command, with the bench on its port; the pressure is what each line typed says. `button`: pressed at these requests."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "data"))
    monkeypatch.setattr("rimward.calibration.run.SAMPLES", 25)
    monkeypatch.setattr("rimward.link.ports.open_client", lambda port: Client(LockstepTransport(bench)))

    def run(*words, typed=(*RUN, *LEFT), button=(True,)):
        lines, presses = iter(typed), itertools.chain(button, itertools.repeat(button[-1]))
        loads = itertools.cycle((490_000, 0))

        def prompt(text, **_how):
            if "Enter" in text:
                at(bench, next(loads))
                return ""
            line = next(lines, None)
            if line is None:
                raise KeyboardInterrupt
            if line[0].isdigit():
                true, _, wrong = line.partition("+")  # `3+0.05`: at 3 bar, and typed 0.05 too high
                return f"{at(bench, float(true) * 1e5) / 1e5 + float(wrong or 0):.5f} bar"
            return line

        def shown(text, **_how):
            plain(text, **_how)
            if "workshop button" in text:  # the display names what is to be written
                confirm(bench) if next(presses) else bench.press("down")

        plain = calibrate.progress_console.print
        monkeypatch.setattr("click.prompt", prompt)
        monkeypatch.setattr(calibrate.progress_console, "print", shown)
        return CliRunner().invoke(calibrate.command, [*GIVEN, *words])

    return run


def certificate_text(path):
    with pypdfium2.PdfDocument(path) as pdf:
        return " ".join(" ".join(page.get_textpage().get_text_bounded() for page in pdf).split())


def test_the_command_guides_writes_and_files_its_certificate(guided, bench, tmp_path):
    """A slip of the fingers is asked again; number, person, place, serials, reference with its due date and decision rule are on the paper."""
    done = guided("--json", "--readings", "points.csv", *SAYS, typed=("half", *RUN, *LEFT))
    assert done.exit_code == 0, done.output
    shown = json.loads(done.stdout)
    assert set(shown["written"]) == {"calibration-a", "calibration-b", "guard-band"} and shown["guard_pa"] >= 10_000
    assert "is not understood" in done.stderr and shown["as_left"]["conforms"]
    text = certificate_text(tmp_path / "calibration.pdf")
    number = shown["number"]
    assert number.startswith("virtual0-") and number.endswith("-001")
    for words in (number, "Ida Moor", "Larkspur Cycles", "A-17", "R-9", "K 2041", DUE, "Decision rule", "Conforms", "As left", "As found", shown["due"]):
        assert words in text, words
    assert len((tmp_path / "points.csv").read_text().splitlines()) == 1 + len(RUN)
    with Client(LockstepTransport(bench)) as client:
        assert verbs.status(client)["guard_pa"] == shown["guard_pa"]


def test_a_trial_writes_nothing_and_its_certificate_says_so(guided, tmp_path):
    done = guided("--json", "--dry-run", typed=RUN)
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["written"] == {} and "A TRIAL: nothing was written" in certificate_text(tmp_path / "calibration.pdf")


def test_without_the_button_nothing_is_filed_and_the_next_run_needs_no_point_again(guided, tmp_path):
    done = guided(button=(False,), typed=RUN)
    assert isinstance(done.exception, Refusal) and "All points are kept" in str(done.exception)
    assert not (tmp_path / "calibration.pdf").exists()
    again = guided("--json", typed=LEFT)
    assert again.exit_code == 0 and "16 points are kept" in again.stderr and json.loads(again.stdout)["as_left"]["conforms"]


def test_a_run_that_was_broken_off_goes_on_where_it_was(guided):
    assert guided(typed=RUN[:6]).exit_code == 1
    done = guided("--json", typed=(*RUN[6:], *LEFT))
    assert done.exit_code == 0 and "6 points are kept" in done.stderr


def test_readings_are_read_back(guided, tmp_path):
    guided("--readings", "points.csv", typed=RUN[:9])
    done = guided("--json", "--new", "--readings", "points.csv", typed=(*RUN[9:], *LEFT))
    assert done.exit_code == 0 and "9 points are kept" in done.stderr, done.output
    assert keep.read_readings(tmp_path / "points.csv") == keep.jobs("virtual0")[-1].points()
    (tmp_path / "other.csv").write_text("a,b\n1,2\n")
    assert "does not hold the points" in str(guided("--new", "--readings", "other.csv", typed=()).exception)


def test_the_first_as_found_is_kept_when_a_run_is_repeated(guided, bench, tmp_path):
    """The first run's points are refused (one was typed wrong); the second conforms, and the certificate still shows the first."""
    wrong = ("0", *BAR, "4.9", "4.5", "4", "3+0.05", "2", "1", "0.5", "0")
    first = guided(typed=wrong)
    assert isinstance(first.exception, Refusal) and "residual" in str(first.exception)
    done = guided("--json")
    assert done.exit_code == 0, done.output
    job = keep.jobs("virtual0")[-1]
    assert len(job.facts["runs"]) == 2 and job.as_found()[11].reference_pa > 304_000
    assert f"{job.as_found()[11].reference_pa / 1e5:.2f} bar" in certificate_text(tmp_path / "calibration.pdf")


def test_a_result_that_does_not_hold_as_left_ends_with_1(guided, bench, tmp_path):
    done = guided("--json", typed=(*RUN, "0", "0.5", "3+0.11", "4.9"))
    assert done.exit_code == 1 and json.loads(done.stdout)["as_left"]["conforms"] is False
    assert "DOES NOT CONFORM" in certificate_text(tmp_path / "calibration.pdf")


@pytest.mark.parametrize("words", [("--points", "1,2,3"), ("--points", "0.5,1,1.5,2,3,4"), ("--points", "1,1,1,1,1,4.9"), ("--reference-k", "0")])
def test_what_cannot_calibrate_is_refused_before_the_first_point(guided, words):
    done = guided(*words, typed=())
    assert done.exit_code == 2 and not done.stdout


def test_an_overdue_reference_is_refused(guided):
    done = guided("--reference-due", "2020-01-01", typed=())
    assert isinstance(done.exception, Refusal) and "ended on 2020-01-01" in str(done.exception)


def test_the_virtual_inflator_takes_the_words_of_a_calibration_and_a_bleed():
    server = Server(compressor(), find_interpreter(), Where())
    try:
        inflator = server.inflator
        inflator.advance(0.5)
        server.order("pump 3.5 bar")
        inflator.advance(1.0)
        assert inflator.plant.manifold_pa > 300_000 and "gauge of the hand pump 3." in server.seen()
        server.order("pump 0")
        inflator.advance(1.0)
        assert abs(inflator.plant.manifold_pa) < 500
        server.order("bleed")
        assert "down" in inflator.hands.held
        server.order("let-go")
        assert "down" not in inflator.hands.held
        for wrong in ("pump", "pump 12 bar", "pump three"):
            with pytest.raises(Refusal):
                server.order(wrong)
    finally:
        server.close()
