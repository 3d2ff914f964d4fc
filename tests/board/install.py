"""Puts on the emulated flash what `rimward install` writes, and a `main.py` for a board that counts as brought up."""

from pathlib import Path

from tests import made

BROUGHT_UP = "here.commissioned = True\n"  # `rimward bringup` walks that on a real board


def install(root: Path) -> None:
    """Write all files. The installed main.py is kept but for the one line that makes bring-up unnecessary."""
    for item in made.items():
        path = root / item.path.lstrip("/")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(item.data)
    main = root / "main.py"
    text = main.read_text()
    assert text.count("here = board.here()\n") == 1
    main.write_text(
        text.replace("here = board.here()\n", "here = board.here()\n        " + BROUGHT_UP)
    )
