"""The kernels as machine code for this machine's MicroPython, as the real board has them: translated from the same files, kept in the user's cache."""

import hashlib
import os
import tempfile
from functools import cache
from pathlib import Path

import platformdirs

from rimward.install import kernels


@cache
def folder() -> Path | None:
    """Where `machine_guard.py` and `machine_fill.py` stand; None where they cannot be kept."""
    texts = {f"machine_{name}.py": kernels.translate(kernels.source(name), name, wide=True) for name in kernels.KERNELS}
    digest = hashlib.sha256("".join(texts.values()).encode()).hexdigest()[:16]
    place = Path(platformdirs.user_cache_dir("rimward")) / "kernels" / digest
    try:
        place.mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            if not (place / name).exists() or (place / name).read_text() != text:
                _write(place / name, text)
    except OSError:
        return None
    return place


def _write(path: Path, text: str) -> None:
    """All of it or nothing: another process may read it now."""
    handle, name = tempfile.mkstemp(dir=path.parent)
    with os.fdopen(handle, "w") as file:
        file.write(text)
    os.replace(name, path)
