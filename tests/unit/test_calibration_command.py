"""Calibration of the virtual inflator with known transducer errors, by the library and by `rimward calibrate`."""

import itertools
import json

import pypdfium2
import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.cli.commands import calibrate
from rimward.device.calibration import (
    ORDINARY,
    collect,
    fit_points,
    in_force,
    keep,
    sequence,
    write_back,
)
from rimward.device.link import Client, LockstepTransport, verbs
from rimward.simulation.plant import compressor
from rimward.simulation.virtual import VirtualInflator, find_interpreter
from rimward.simulation.virtual.inflator import Where
from rimward.simulation.virtual.server import Server, hand_pump
from rimward.simulation.virtual.setup import confirm

from tests.unit.calibrationbench import DUE, GAUGE, NOMINAL


@pytest.fixture
def bench():
    params = compressor(
        a_offset_pa=4_000.0, a_span_error=-0.006, b_offset_pa=-2_500.0, b_span_error=0.004
    )
    with VirtualInflator(params, compiled=False) as inflator:
        yield inflator


def at(bench, pa):
    """Reading of a reference on the manifold after the hand pump of `rimward virtual` set this pressure; zero is open air."""
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
        assert channel.gain * read + channel.offset_pa == pytest.approx(
            400_000.0, abs=700.0 if name == "a" else 1_500.0
        )  # B: code edges
    with pytest.raises(Refusal, match="did not confirm"):
        write_back(client, result, tell=lambda _text: bench.press("down"))
    assert set(write_back(client, result, tell=lambda _text: confirm(bench))) == {
        "calibration-a",
        "calibration-b",
        "guard-band",
    }
    at(bench, 450_000)
    assert verbs.status(client)["reading_pa"] == pytest.approx(bench.plant.tyre_pa, abs=1500)
    assert bench.plant.tyre_pa > 400_000
    assert verbs.status(client)["guard_pa"] == result.guard_pa


def test_a_stuck_transducer_is_named_and_the_points_before_it_are_kept(bench):
    from rimward.simulation.plant import layout as k

    client, kept = Client(LockstepTransport(bench)), []

    def ask(step):
        if len(kept) == 4:
            bench.plant.P[k.P_B_K] = 0.0  # B's tap is blocked from here on
        return at(bench, step.nominal_pa)

    with pytest.raises(
        Refusal, match=r"Transducer B is stuck: the reference changed by \+1\.00 bar"
    ):
        collect(client, sequence(NOMINAL), ask, keep=kept.append)
    assert len(kept) == 4


def test_a_preload_that_was_not_done_is_refused(bench):
    client = Client(LockstepTransport(bench))
    with pytest.raises(Refusal, match="preload reached 2.8[0-9] bar of 4.90 bar"):
        collect(
            client,
            sequence(NOMINAL),
            lambda step: at(bench, 300_000 if step.kind == "preload" else step.nominal_pa),
        )
    with pytest.raises(Refusal, match="not open to the air"):
        collect(
            client,
            sequence(NOMINAL),
            lambda step: at(bench, 490_000 if step.kind == "open" else step.nominal_pa),
        )


BAR = ("0.5", "1", "2", "3", "4", "4.5", "4.9")
RUN = ("0", *BAR, *BAR[::-1], "0")
LEFT = ("0", "0.5", "3", "4.9")
GIVEN = (
    "--port",
    "here",
    "--reference-u",
    "1 kPa",
    "--resolution",
    "0.2 kPa",
    "--points",
    ",".join(BAR),
    "--reference-due",
    DUE,
)
SAYS = (
    "--by",
    "Ida Moor",
    "--place",
    "Larkspur Cycles",
    "--serial-a",
    "A-17",
    "--reference-serial",
    "R-9",
    "--reference-certificate",
    "K 2041",
)


@pytest.fixture
def guided(bench, monkeypatch, tmp_path):
    """`run(words, typed)`: the command, with the bench on its port; the pressure is what each line typed says. `button`: pressed at these requests."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "data"))
    monkeypatch.setattr("rimward.device.calibration.run.SAMPLES", 25)
    monkeypatch.setattr(
        "rimward.device.link.ports.open_client", lambda port: Client(LockstepTransport(bench))
    )

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
    """A mistyped reading is asked again; number, person, place, serials, reference with its due date and decision rule are on the paper."""
    done = guided("--json", "--readings", "points.csv", *SAYS, typed=("half", *RUN, *LEFT))
    assert done.exit_code == 0, done.output
    shown = json.loads(done.stdout)
    assert (
        set(shown["written"]) == {"calibration-a", "calibration-b", "guard-band"}
        and shown["guard_pa"] >= 10_000
    )
    assert "is not understood" in done.stderr and shown["as_left"]["conforms"]
    text = certificate_text(tmp_path / "calibration.pdf")
    number = shown["number"]
    assert number.startswith("virtual0-") and number.endswith("-001")
    for words in (
        number,
        "Ida Moor",
        "Larkspur Cycles",
        "A-17",
        "R-9",
        "K 2041",
        DUE,
        "Decision rule",
        "Conforms",
        "As left",
        "As found",
        shown["due"],
    ):
        assert words in text, words
    assert len((tmp_path / "points.csv").read_text().splitlines()) == 1 + len(RUN)
    with Client(LockstepTransport(bench)) as client:
        assert verbs.status(client)["guard_pa"] == shown["guard_pa"]


def test_a_trial_writes_nothing_and_its_certificate_says_so(guided, tmp_path):
    done = guided("--json", "--dry-run", typed=RUN)
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)[
        "written"
    ] == {} and "TRIAL: nothing was written" in certificate_text(tmp_path / "calibration.pdf")


def test_without_the_button_nothing_is_filed_and_the_next_run_needs_no_point_again(
    guided, tmp_path
):
    done = guided(button=(False,), typed=RUN)
    assert isinstance(done.exception, Refusal) and "All points are stored" in str(done.exception)
    assert not (tmp_path / "calibration.pdf").exists()
    again = guided("--json", typed=LEFT)
    assert (
        again.exit_code == 0
        and "16 points are stored" in again.stderr
        and json.loads(again.stdout)["as_left"]["conforms"]
    )


def test_a_run_that_was_broken_off_goes_on_where_it_was(guided):
    assert guided(typed=RUN[:6]).exit_code == 1
    done = guided("--json", typed=(*RUN[6:], *LEFT))
    assert done.exit_code == 0 and "6 points are stored" in done.stderr


def test_readings_are_read_back(guided, tmp_path):
    guided("--readings", "points.csv", typed=RUN[:9])
    done = guided("--json", "--new", "--readings", "points.csv", typed=(*RUN[9:], *LEFT))
    assert done.exit_code == 0 and "9 points are stored" in done.stderr, done.output
    assert keep.read_readings(tmp_path / "points.csv") == keep.jobs("virtual0")[-1].points()
    (tmp_path / "other.csv").write_text("a,b\n1,2\n")
    assert "does not contain the points" in str(
        guided("--new", "--readings", "other.csv", typed=()).exception
    )


def test_the_first_as_found_is_kept_when_a_run_is_repeated(guided, bench, tmp_path):
    """The first run's points are refused (one was typed wrong); the second conforms, and the certificate still shows the first."""
    wrong = ("0", *BAR, "4.9", "4.5", "4", "3+0.05", "2", "1", "0.5", "0")
    first = guided(typed=wrong)
    assert isinstance(first.exception, Refusal) and "residual" in str(first.exception)
    done = guided("--json")
    assert done.exit_code == 0, done.output
    job = keep.jobs("virtual0")[-1]
    assert len(job.facts["runs"]) == 2 and job.as_found()[11].reference_pa > 304_000
    assert f"{job.as_found()[11].reference_pa / 1e5:.2f} bar" in certificate_text(
        tmp_path / "calibration.pdf"
    )


def test_a_result_that_does_not_hold_as_left_ends_with_1(guided, bench, tmp_path):
    done = guided("--json", typed=(*RUN, "0", "0.5", "3+0.11", "4.9"))
    assert done.exit_code == 1 and json.loads(done.stdout)["as_left"]["conforms"] is False
    assert "DOES NOT CONFORM" in certificate_text(tmp_path / "calibration.pdf")


@pytest.mark.parametrize(
    "words",
    [
        ("--points", "1,2,3"),
        ("--points", "0.5,1,1.5,2,3,4"),
        ("--points", "1,1,1,1,1,4.9"),
        ("--reference-k", "0"),
    ],
)
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
        assert "down" not in inflator.hands.held and "key low" in server.seen()
        inflator.hands.range_bench = True
        assert "key bench" in server.seen()
        for wrong in ("pump", "pump 12 bar", "pump three"):
            with pytest.raises(Refusal):
                server.order(wrong)
    finally:
        server.close()
