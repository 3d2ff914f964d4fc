"""Display of an inflator: its picture and texts, read over the link, and ways to draw them."""

from dataclasses import dataclass
from pathlib import Path

from rimward_protocol import codes

from rimward.base.errors import Refusal
from rimward.device.link.client import Client
from rimward.formats import records

WIDTH, HEIGHT = 128, 64
QUARTERS = 4
TEXTS = 4
TRIES = 8  # a picture that changes during reading is read again
BORDER = 4  # points around the picture of a PNG
HALVES = " ▀▄█"
PLAIN_HALVES = " '.#"
DOTS = (
    (1, 8),
    (2, 16),
    (4, 32),
    (64, 128),
)  # points of a braille character: rows from the top, left and right
BRAILLE = 0x2800


@dataclass(frozen=True)
class Screen:
    """One picture of the display. `frame`: 1,024 bytes, eight rows of 128 columns of eight points, the upper in the lowest bit."""

    name: str
    lines: tuple[str, ...]
    frame: bytes


def read_screen(client: Client) -> Screen:
    """Read the picture on an inflator's display. Refusal if it has none, or it changes faster than the line transmits."""
    for _ in range(TRIES):
        answers = [client.request(codes.SCREEN, part=part) for part in (*range(QUARTERS), TEXTS)]
        if len({answer["drawn"] for answer in answers}) == 1:
            break
    else:
        raise Refusal(
            "The display changes faster than the line transmits it.",
            "Try again; use a faster line.",
        )
    if not answers[0]["drawn"]:
        raise Refusal(
            "This inflator draws no picture.",
            "Wait until it has started; on CPython there is no picture: install `rimward[sim]`.",
        )
    frame = b"".join(answer["data"] for answer in answers[:QUARTERS])
    texts = answers[TEXTS]["data"].decode("utf-8", "replace")
    return Screen(records.text_of(answers[0]["name"]), tuple(texts.split("\n")), frame)


def points(frame: bytes) -> list[list[int]]:
    """Picture as 64 rows of 128 points, 1 for lit."""
    return [[frame[y // 8 * WIDTH + x] >> (y % 8) & 1 for x in range(WIDTH)] for y in range(HEIGHT)]


def drawn(frame: bytes, columns: int, unicode: bool = True) -> list[str]:
    """Picture as lines of text: block characters where the terminal has `columns` for them, else braille; ASCII without `unicode`."""
    rows = points(frame)
    if columns < WIDTH and unicode:
        return [_braille(rows[y : y + 4]) for y in range(0, HEIGHT, 4)]
    signs = HALVES if unicode else PLAIN_HALVES
    return [
        "".join(
            signs[upper + 2 * lower] for upper, lower in zip(rows[y], rows[y + 1], strict=True)
        ).rstrip()
        for y in range(0, HEIGHT, 2)
    ]


def _braille(rows: list[list[int]]) -> str:
    """Four rows of points as one line, two columns a character."""
    signs = []
    for x in range(0, WIDTH, 2):
        bits = sum(
            dots[side]
            for row, dots in zip(rows, DOTS, strict=True)
            for side in (0, 1)
            if row[x + side]
        )
        signs.append(chr(BRAILLE + bits))
    return "".join(signs)


def write_png(frame: bytes, path: Path, scale: int = 6) -> None:
    """Write the picture as PNG, `scale` pixels a point, lit points light on dark. Refusal if the file cannot be written."""
    from PIL import Image

    image = Image.new("L", (WIDTH + 2 * BORDER, HEIGHT + 2 * BORDER), 16)
    for y, row in enumerate(points(frame)):
        for x, point in enumerate(row):
            image.putpixel((x + BORDER, y + BORDER), 235 if point else 16)
    try:
        image.resize((image.width * scale, image.height * scale), Image.Resampling.NEAREST).save(
            path, format="PNG"
        )
    except OSError as failed:
        raise Refusal(
            f"{path} cannot be written: {failed.strerror}.", "Choose another place with --png."
        ) from failed
