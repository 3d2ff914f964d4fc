"""`rimward virtual`: an inflator to try things on."""

import json
import os
import signal
import sys
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import click

from rimward.errors import Refusal
from rimward.output import console, progress_console


@click.command()
@click.option("--wheel", "tyre", default="28-622", show_default=True, help="Tyre on its hose, as width-bead seat.")
@click.option("--rim-inner", default=23.0, show_default=True, help="Rim inner width, mm.")
@click.option("--chuck", type=click.Choice(["pressure-open", "pin-open"]), default="pressure-open", show_default=True)
@click.option("--source", type=click.Choice(["compressor", "line"]), default="compressor", show_default=True, help="Air source.")
@click.option("--tyre-pressure", default="0 bar", show_default=True, help="What is in the tyre at the start.")
@click.option("--temp", default=20.0, show_default=True, help="Room, degrees C.")
@click.option("--altitude", default=0.0, show_default=True, help="Metres.")
@click.option("--state", type=click.Path(dir_okay=False, path_type=Path), help="Keep its flash in this file between runs.")
@click.option("--interpreter", type=click.Choice(["micropython", "cpython"]), default="micropython", show_default=True)
@click.option(
    "--bench",
    is_flag=True,
    help="A proof bench: its own firmware, line and fixture, key in the bench position, --wheel as its specimen; --source does not count.",
)
@click.option("--medium", type=click.Choice(["water", "air"]), default="water", show_default=True, help="With --bench: what fills the specimen.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON line with the port, then run.")
def command(tyre, rim_inner, chuck, source, tyre_pressure, temp, altitude, state, interpreter, bench, medium, as_json) -> None:  # type: ignore[no-untyped-def]
    """Start a virtual inflator and print its port. Runs in real time until interrupted.

    Type what a person would do, one word a line: hold, let-go, enter, up, down, workshop, key-low, key-high, attach, detach, seen, end; with --bench also
    what the specimen does, as `slip 4.2 bar`, `leak 3 bar 20 s`, `blow-off 6.1 bar`.
    """
    import time

    from rimward.atmosphere import ambient_pa
    from rimward.plant import Plant, compressor, line, tyre_ml
    from rimward.simulation.demo import tell_compiling
    from rimward.simulation.scenario import mounted_mm
    from rimward.units import parse_pressure
    from rimward.virtual import Where, find_interpreter
    from rimward.virtual.server import WORDS, Server

    width, _, bead = tyre.partition("-")
    if not (width.isdigit() and bead.isdigit()):
        raise click.UsageError(f"--wheel {tyre} is not a size such as 28-622.")
    for wrong in _wrong_figures({"tyre width, mm": int(width), "bead seat, mm": int(bead), "rim-inner": rim_inner, "temp": temp, "altitude": altitude}):
        raise click.UsageError(wrong)
    if rim_inner >= mounted_mm(int(width), rim_inner):
        raise click.UsageError(f"--wheel {tyre} is no wider than the rim inside. Give a narrower --rim-inner.")
    if state is not None:
        _check_state(state)
    make = line if source == "line" else compressor
    params = make(
        tyre_ml=tyre_ml(mounted_mm(int(width), rim_inner), int(bead), rim_inner),
        pin_open=chuck == "pin-open",
        tyre_pa=float(parse_pressure(tyre_pressure)) if not tyre_pressure.startswith("0 ") else 0.0,
        room_k=temp + 273.15,
        ambient_abs_pa=ambient_pa(altitude),
    )
    found = find_interpreter(interpreter)
    tree = tempfile.TemporaryDirectory(prefix="rimward-bench-") if bench else None
    where, specimen, words = Where(unix_s=int(time.time()), flash=state), None, WORDS
    if tree is not None:
        from rimward.proof.bench import BOTTLE_ML, Test, plant_of
        from rimward.proof.build import write_tree
        from rimward.proof.specimen import WORDS as SPECIMEN_WORDS
        from rimward.proof.specimen import Specimen

        write_tree(Path(tree.name))
        specimen, words = Specimen(params.tyre_ml), WORDS | SPECIMEN_WORDS
        air_ml = BOTTLE_ML if medium == "water" else round(params.tyre_ml)
        params, where = plant_of(Test(500_000, air_ml=air_ml)), replace(where, device="bench001", tree=Path(tree.name))
    tell_compiling(lambda line: progress_console.print(line, markup=False))
    Plant(params, compiled=True).tick(0, 0)  # so that the port answers from the moment it is named
    server = Server(params, found, where)
    server.inflator.hands.range_bench = bench
    if specimen is not None:
        server.more = specimen.order
        server.inflator.watchers.append(specimen.tick)
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    try:
        link = server.announce()
        if as_json:
            print(json.dumps({"port": server.port, "link": str(link), "interpreter": found.name, "notice": found.notice}))
        else:
            if found.notice:
                console.print(found.notice, markup=False)
            console.print(f"Virtual inflator on {server.port} ({found.name}). Interrupt to end it.", markup=False)
            for word, meaning in words.items():
                console.print(f"  {word:20} {meaning}", markup=False)
        sys.stdout.flush()
        threading.Thread(target=_listen, args=(server, stop), daemon=True).start()
        server.run(stop.is_set)
    finally:
        server.close()
        if tree is not None:
            tree.cleanup()


# what a virtual inflator can be told -> the least and the most of it
FIGURES = {"tyre width, mm": (18, 130), "bead seat, mm": (200, 650), "rim-inner": (9, 110), "temp": (-30, 60), "altitude": (-500, 9000)}


def _wrong_figures(given: dict[str, float]) -> Iterator[str]:
    """A line for each figure outside what the plant knows; not-a-number is outside of everything."""
    for name, value in given.items():
        least, most = FIGURES[name]
        if not least <= value <= most:
            option = f"--wheel: {name}" if "mm" in name else f"--{name}"
            yield f"{option} must be from {least} to {most}, not {value:g}."


def _check_state(state: Path) -> None:
    """Refusal for a flash image that this cannot be, or that could not be kept."""
    from rimward_fw.board import simulated_flash

    folder = state.parent
    if not folder.is_dir() or not os.access(folder, os.W_OK):
        raise Refusal(f"{state} cannot be written.", "Give a file in a folder that is there and can be written to.")
    size = simulated_flash.BLOCKS * simulated_flash.BLOCK_BYTES
    if state.exists() and state.stat().st_size != size:
        raise Refusal(f"{state} is no flash of a virtual inflator: it must have {size} bytes.", "Give another name, or take it away to begin anew.")


def _listen(server, stop: threading.Event) -> None:  # type: ignore[no-untyped-def]
    """Words from standard input; its end does not end the inflator."""
    for line in sys.stdin:
        word = line.strip()
        if word == "end":
            stop.set()
            return
        if word:
            try:
                console.print(server.order(word), markup=False)
            except Refusal as refusal:
                console.print(str(refusal), markup=False)
