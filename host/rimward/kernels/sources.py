"""Locations of firmware and protocol sources, in a checkout or installed."""

from pathlib import Path

import rimward_fw
import rimward_protocol


def source_paths() -> tuple[Path, Path, Path]:
    """Return (folder of the protocol package, folder of the firmware package, main.py), in a checkout or installed."""
    firmware = Path(rimward_fw.__file__).resolve().parent
    protocol = Path(rimward_protocol.__file__).resolve().parent
    inside = firmware / "main.py"
    return (
        protocol.parent,
        firmware.parent,
        inside if inside.exists() else firmware.parent / "main.py",
    )
