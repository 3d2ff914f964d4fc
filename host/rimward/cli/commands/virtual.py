"""`rimward virtual`: a virtual inflator for trials."""

import contextlib
import json
import os
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
from rimward_fw.board import simulated_flash

from rimward.base.atmosphere import ambient_pa
from rimward.base.errors import Refusal
from rimward.base.output import console, progress_console, takes_all
from rimward.base.units import parse_pressure
from rimward.kernels import bench as bench_build


@click.command()
@click.option(
    "--wheel",
    "tyre",
    default="28-622",
    show_default=True,
    help="Tyre on its hose, as width-bead seat.",
)
@click.option("--rim-inner", default=23.0, show_default=True, help="Rim inner width, mm.")
@click.option(
    "--chuck",
    type=click.Choice(["pressure-open", "pin-open"]),
    default="pressure-open",
    show_default=True,
)
@click.option(
    "--source",
    type=click.Choice(["compressor", "line"]),
    default="compressor",
    show_default=True,
    help="Air source; the inflator is set to it.",
)
@click.option(
    "--tyre-pressure", default="0 bar", show_default=True, help="What is in the tyre at the start."
)
@click.option("--temp", default=20.0, show_default=True, help="Room, degrees C.")
@click.option("--altitude", default=0.0, show_default=True, help="Metres.")
@click.option(
    "--state",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Keep its flash in this file between runs.",
)
@click.option(
    "--interpreter",
    type=click.Choice(["micropython", "cpython"]),
    default="micropython",
    show_default=True,
)
@click.option(
    "--bench",
    is_flag=True,
    help="A proof bench: its own firmware, line and fixture, key in the bench position, --wheel as its specimen; --source does not count.",
)
@click.option(
    "--medium",
    type=click.Choice(["water", "air"]),
    default="water",
    show_default=True,
    help="With --bench: what fills the specimen.",
)
@click.option("--face", is_flag=True, help="Draw its display in the terminal as it changes.")
@click.option(
    "--truth",
    is_flag=True,
    help="Show what only the simulated world knows, too: the pressures in tyre and hose.",
)
@click.option(
    "--script",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Do these words one after the other, one a line; `wait 5` lets 5 s pass.",
)
@click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON line with the port, then run."
)
def command(face: bool, truth: bool, script: Path | None, as_json: bool, **given: Any) -> None:
    """Start a virtual inflator and print its port. Runs in real time until `end` or an interrupt.

    Type what a person would do, one word a line: hold, let-go, enter, up, down (`up long` holds it), workshop, key-low, key-high, attach, detach,
    seen, end; `help` explains them. With --bench also what the specimen does, as `slip 4.2 bar`, `leak 3 bar 20 s`, `blow-off 6.1 bar`.
    """
    if face and as_json:
        raise click.UsageError("--face draws where --json prints. Give one of them.")
    with contextlib.suppress(KeyboardInterrupt):  # ends like any other command
        params = _world(given)
        signal.signal(signal.SIGTERM, signal.default_int_handler)  # no orphan of the start
        with _served(params, given, script) as server:
            server.truth = truth
            server.start()
            stop = _stop_on_signals()
            _announce(server, as_json, face)
            _run(server, as_json, face, stop)


def _world(given: dict[str, Any]) -> Any:
    """Parameters of the plant. Wrong usage for impossible ones."""
    from rimward.simulation.plant import compressor, line, tyre_ml
    from rimward.simulation.scenario import mounted_mm

    rim_inner, temp, altitude, pressure = (
        given["rim_inner"],
        given["temp"],
        given["altitude"],
        given["tyre_pressure"],
    )
    width, _, bead = given["tyre"].partition("-")
    if not (width.isdigit() and bead.isdigit()):
        raise click.UsageError(f"--wheel {given['tyre']} is not a size such as 28-622.")
    for wrong in _wrong_figures(
        {
            "tyre width, mm": int(width),
            "bead seat, mm": int(bead),
            "rim-inner": rim_inner,
            "temp": temp,
            "altitude": altitude,
        }
    ):
        raise click.UsageError(wrong)
    if rim_inner >= mounted_mm(int(width), rim_inner):
        raise click.UsageError(
            f"--wheel {given['tyre']} is no wider than the rim inside. Give a narrower --rim-inner."
        )
    if given["state"] is not None:
        _check_state(given["state"])
    make = line if given["source"] == "line" else compressor
    return make(
        tyre_ml=tyre_ml(mounted_mm(int(width), rim_inner), int(bead), rim_inner),
        pin_open=given["chuck"] == "pin-open",
        tyre_pa=float(parse_pressure(pressure)) if not pressure.startswith("0 ") else 0.0,
        room_k=temp + 273.15,
        ambient_abs_pa=ambient_pa(altitude),
    )


@contextlib.contextmanager
def _served(params: Any, given: dict[str, Any], script: Path | None) -> Iterator[Any]:
    """Server of a virtual inflator, or of a virtual bench, closed at the end."""

    from rimward.simulation.virtual import Where, find_interpreter
    from rimward.simulation.virtual.orders import read_script
    from rimward.simulation.virtual.server import Server
    from rimward.simulation.virtual.setup import source_of

    with tempfile.TemporaryDirectory(prefix="rimward-bench-") as tree:
        where, more = Where(unix_s=int(time.time()), flash=given["state"]), None
        if given["bench"]:
            params, where, more = _bench(params, where, given["medium"], Path(tree))
        read = (
            read_script(script, more.is_order if more is not None else None)
            if script is not None
            else None
        )
        server = Server(params, find_interpreter(given["interpreter"]), where)
        try:
            server.script = read
            server.warn = lambda line: progress_console.print(line, markup=False, soft_wrap=True)
            server.inflator.hands.range_bench = given["bench"]
            if more is not None:
                server.take(more)
            elif given["source"] == "line":
                server.set_source(source_of(params))
            yield server
        finally:
            server.close()


def _bench(params: Any, where: Any, medium: str, tree: Path) -> tuple[Any, Any, Any]:
    """Return (plant, place, specimen) of a virtual bench whose firmware is written to `tree`."""
    from rimward.proof.bench import BOTTLE_ML, Test, plant_of
    from rimward.proof.specimen import Specimen

    bench_build.write_tree(tree)
    air_ml = BOTTLE_ML if medium == "water" else round(params.tyre_ml)
    return (
        plant_of(Test(500_000, air_ml=air_ml)),
        replace(where, device="bench001", tree=tree),
        Specimen(params.tyre_ml),
    )


def _announce(server: Any, as_json: bool, face: bool) -> None:
    """Print the port and the words that can be typed."""
    link, found = server.announce(), server.inflator.interpreter
    if as_json:
        print(
            json.dumps(
                {
                    "port": server.port,
                    "link": str(link),
                    "interpreter": found.name,
                    "notice": found.notice,
                }
            )
        )
    elif not face:
        if found.notice:
            console.print(found.notice, markup=False)
        console.print(
            f"Virtual inflator on {server.port} ({found.name}). Interrupt to end it.", markup=False
        )
        console.print(server.order("help"), markup=False)
    sys.stdout.flush()


def _stop_on_signals() -> threading.Event:
    """Event that an interrupt or SIGTERM sets. No exception: CPython ends by the signal where one arises while a module's text runs."""
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    return stop


def _run(server: Any, as_json: bool, face: bool, stop: threading.Event) -> None:
    """Run until a person or a signal ends it."""
    from rimward.device.link.screen import drawn
    from rimward.simulation.virtual.face import Face

    shown = Face(sys.stdout, takes_all(sys.stdout)) if face else None

    def tell(text: str) -> None:
        if shown is not None:
            shown.tell(text)
        else:
            console.print(text, markup=False)

    def obey(word: str) -> None:
        """Do a word and print what came of it, for `seen` with the display's picture where it is not there already."""
        try:
            seen = server.order(word)
        except Refusal as refusal:
            seen = str(refusal)
        if word == "seen" and not as_json and not face and server.picture():
            seen = "\n".join([*drawn(server.picture(), console.width, takes_all(sys.stdout)), seen])
        tell(seen)

    def scripted(word: str) -> None:
        tell(f"> {word}")
        obey(word)

    server.does = scripted
    if shown is not None:
        server.face = shown.show
        tell(
            f"Virtual inflator on {server.port} ({server.inflator.interpreter.name}). `help` lists the words, `end` ends it."
        )
    try:
        threading.Thread(target=_listen, args=(obey,), daemon=True).start()
        server.run(stop.is_set)
    finally:
        if shown is not None:
            shown.close()


# figures of the simulated world -> least and most of each
FIGURES = {
    "tyre width, mm": (18, 130),
    "bead seat, mm": (200, 650),
    "rim-inner": (9, 110),
    "temp": (-30, 60),
    "altitude": (-500, 9000),
}


def _wrong_figures(given: dict[str, float]) -> Iterator[str]:
    """One line for each figure outside the plant's range; not-a-number is outside every range."""
    for name, value in given.items():
        least, most = FIGURES[name]
        if not least <= value <= most:
            option = f"--wheel: {name}" if "mm" in name else f"--{name}"
            yield f"{option} must be from {least} to {most}, not {value:g}."


def _check_state(state: Path) -> None:
    """Raise Refusal for an impossible flash image, or one that could not be stored."""

    folder = state.parent
    if not folder.is_dir() or not os.access(folder, os.W_OK):
        raise Refusal(
            f"{state} cannot be written.",
            "Give a file in a folder that is there and can be written to.",
        )
    size = simulated_flash.BLOCKS * simulated_flash.BLOCK_BYTES
    if state.exists() and state.stat().st_size != size:
        raise Refusal(
            f"{state} is no flash of a virtual inflator: it must have {size} bytes.",
            "Give another name, or delete it to start empty.",
        )


def _listen(obey: Callable[[str], None]) -> None:
    """Read words from standard input; its end does not end the inflator."""
    for line in sys.stdin:
        word = " ".join(line.split())
        if word:
            obey(word)
