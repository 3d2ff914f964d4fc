"""Calibration against the virtual inflator with known transducer errors: the recovered errors match."""

import json
import re

import pytest
from click.testing import CliRunner
from rimward.calibration import Point, Reference, collect, fit_points, write_back
from rimward.calibration.certificate import write_certificate
from rimward.calibration.fit import CONVERTERS, FULL_SCALE_PA
from rimward.commands import calibrate
from rimward.errors import Refusal
from rimward.link import Client, LockstepTransport, verbs
from rimward.plant import compressor
from rimward.plant.sensing import code_edges
from rimward.virtual import VirtualInflator

NOMINAL = [50_000, 100_000, 200_000, 300_000, 400_000, 450_000, 490_000]
GAUGE = Reference("test gauge", 1000.0, 2.0, 200.0, 17)


def synthetic(gain=1.0, offset=0.0, bend=0.0, gap=0.0, nominal=NOMINAL, spread=60.0):
    """Points of two transducers that read (true - offset) / gain, A with a bend and a gap between up and down."""
    points = []
    for rising in (True, False):
        for true in nominal if rising else nominal[::-1]:
            a = (true - offset) / gain + (bend if 250e3 < true < 350e3 else 0.0) + (gap if rising else 0.0)
            points.append(Point(rising, true, a, (true - offset) / gain, spread, 101_325, 29_315))
    return points


def test_recovers_gain_and_offset_exactly_from_clean_points():
    result = fit_points(synthetic(1.008, -3000.0), 1000.0, 2.0, 200.0)
    for channel in result.channels:
        assert channel.gain == pytest.approx(1.008, rel=1e-9)
        assert channel.offset_pa == pytest.approx(-3000.0, abs=1e-3)
        assert channel.residual_pa < 1e-3


def test_guard_band_is_never_below_class_bound_nor_reference():
    assert fit_points(synthetic(), 1000.0, 2.0, 200.0).guard_pa == 10_000
    assert fit_points(synthetic(), 14_000.0, 2.0, 1000.0).guard_pa >= 15_000


def test_a_year_of_drift_is_counted_from_the_start():
    """100 Pa a month over the twelve months until the next calibration, rectangular: 1200 / sqrt(3) Pa."""
    for channel in fit_points(synthetic(), 1000.0, 2.0, 200.0).channels:
        assert channel.terms["drift"] == pytest.approx(1200 / 3**0.5)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (synthetic(nominal=NOMINAL[:5]), "at least 6"),
        (synthetic(nominal=[10_000 * n for n in range(1, 8)]), "highest point"),
        (synthetic(bend=8_000.0), "residual"),
        (synthetic(gap=9_000.0), "hysteresis|residual"),
        (synthetic(offset=40_000.0), "offset"),
        (synthetic(gain=1.05), "gain"),
        (synthetic(spread=5_000.0), "spread"),
    ],
)
def test_poor_fit_is_refused_with_its_reason(points, words):
    with pytest.raises(Refusal, match=words):
        fit_points(points, 1000.0, 2.0, 200.0)


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
    terms = {c.name: c.terms["code edges"] for c in fit_points(synthetic(), 1000.0, 2.0, 200.0).channels if "code edges" in c.terms}
    assert terms == {"b": pytest.approx(covered / 3**0.5)}


@pytest.fixture
def bench():
    params = compressor(pin_open=True, a_offset_pa=4_000.0, a_span_error=-0.006, b_offset_pa=-2_500.0, b_span_error=0.004)
    with VirtualInflator(params, compiled=False) as inflator:
        yield inflator


def test_known_errors_of_the_virtual_inflator_are_found_and_taken_off(bench, tmp_path):
    client = Client(LockstepTransport(bench))

    def ask(pa, rising):
        bench.plant.set_tyre(float(pa))
        bench.advance(1.0)
        return bench.plant.tyre_pa

    points = collect(client, NOMINAL, ask)
    result = fit_points(points, GAUGE.expanded_pa, GAUGE.k, GAUGE.resolution_pa)
    for name, offset, span in (("a", 4_000.0, -0.006), ("b", -2_500.0, 0.004)):
        channel = next(c for c in result.channels if c.name == name)
        at = 400_000.0
        read = at * (1 + span) + offset
        assert channel.gain * read + channel.offset_pa == pytest.approx(at, abs=700.0)
    with pytest.raises(Refusal, match="button"):
        write_back(client, result, GAUGE)
    bench.hands.held.add("workshop")
    bench.advance(0.3)
    assert set(write_back(client, result, GAUGE)) == {"calibration-a", "calibration-b", "guard-band"}
    bench.hands.held.clear()
    bench.advance(0.5)
    bench.plant.set_tyre(450_000.0)
    bench.advance(1.0)
    assert verbs.status(client)["reading_pa"] == pytest.approx(bench.plant.tyre_pa, abs=1500)
    assert bench.plant.tyre_pa > 400_000
    assert verbs.status(client)["guard_pa"] == result.guard_pa
    page, picture = write_certificate(result, GAUGE, "virtual0", tmp_path / "c.html")
    assert re.search(r"Guard band of this inflator: 0\.1\d+ bar", page.read_text())
    assert picture.read_bytes().startswith(b"\x89PNG")


BAR = ("0.5", "1", "2", "3", "4", "4.5", "4.9")
GIVEN = ("--port", "here", "--reference-u", "1 kPa", "--resolution", "0.2 kPa", "--points", ",".join(BAR))


@pytest.fixture
def guided(bench, monkeypatch, tmp_path):
    """`run(words, typed)`: the command, with the bench on its port; the tyre stands where each line typed says."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("rimward.link.ports.open_client", lambda port: Client(LockstepTransport(bench)))

    def run(*words, typed=(*BAR, *BAR[::-1]), button=True):
        lines = iter(typed)

        def prompt(text, **_how):
            if "workshop" in text:
                if button:
                    bench.hands.held.add("workshop")
                bench.advance(0.3)
                return ""
            line = next(lines)
            if line.replace(".", "").isdigit():
                bench.plant.set_tyre(float(line) * 1e5)
                bench.advance(1.0)
                return f"{bench.plant.tyre_pa / 1e5:.5f} bar"
            return line

        monkeypatch.setattr("click.prompt", prompt)
        return CliRunner().invoke(calibrate.command, [*GIVEN, *words])

    return run


def test_the_command_guides_writes_and_files_its_report(guided, bench, tmp_path):
    """A slip of the fingers is asked again."""
    done = guided("--json", "--readings", "points.csv", typed=("half", *BAR, *BAR[::-1]))
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert set(told["written"]) == {"calibration-a", "calibration-b", "guard-band"} and told["guard_pa"] >= 10_000
    assert "is not understood" in done.stderr
    assert "A trial" not in (tmp_path / "calibration.html").read_text()
    assert len((tmp_path / "points.csv").read_text().splitlines()) == 1 + 2 * len(BAR)
    with Client(LockstepTransport(bench)) as client:
        assert verbs.status(client)["guard_pa"] == told["guard_pa"]


def test_a_trial_writes_nothing_and_its_report_says_so(guided, tmp_path):
    done = guided("--json", "--dry-run")
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["written"] == {} and "A trial: nothing was written" in (tmp_path / "calibration.html").read_text()


def test_without_the_button_there_is_no_report_of_what_the_inflator_did_not_take(guided, tmp_path):
    done = guided(button=False)
    assert isinstance(done.exception, Refusal) and "button" in str(done.exception)
    assert not (tmp_path / "calibration.html").exists()


@pytest.mark.parametrize("words", [("--points", "1,2,3"), ("--points", "0.5,1,1.5,2,3,4"), ("--points", "1,1,1,1,1,4.9"), ("--reference-k", "0")])
def test_what_cannot_calibrate_is_refused_before_the_first_point(guided, words):
    done = guided(*words, typed=())
    assert done.exit_code == 2 and not done.stdout
