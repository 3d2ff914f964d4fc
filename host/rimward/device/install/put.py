"""Installation: every file is written aside and its digest computed by the board; only then all are put in place, main.py last."""

from collections.abc import Callable
from dataclasses import dataclass

from rimward.base.errors import Refusal
from rimward.device.install.device import Device
from rimward.device.install.plan import LIB, PACKAGES, Item, firmware_version

MAIN = "/main.py"
ASIDE = ".new"
AWAY = ".old"
OLDEST = (1, 26)
CHIPS = ("rp2",)  # platforms whose kernels have to be machine code
Tell = Callable[[str], None]


@dataclass(frozen=True)
class Outcome:
    """Result of an install."""

    interpreter: str
    before: str
    after: str
    written: int
    unchanged: int
    removed: int
    bytes: int


def interpreter(device: Device, compiled: bool) -> str:
    """Return name and version of the interpreter. Refusal for a board or a version that this form of the firmware does not support."""
    name, version, platform = device.ask(
        "(lambda s: (s.implementation.name, s.implementation.version[:3], s.platform))(__import__('sys'))"
    )
    text = f"{name} {'.'.join(str(part) for part in version)} on {platform}"
    if name != "micropython" or (compiled and platform not in CHIPS):
        raise Refusal(
            f"Compiled firmware needs MicroPython on the RP2040; this board has {text}.",
            "Use a Raspberry Pi Pico, or --source for another board.",
        )
    if platform in CHIPS and not compiled:
        raise Refusal(
            f"From source the tick takes longer than its limit on {text}.", "Omit --source."
        )
    if tuple(version[:2]) < OLDEST:
        raise Refusal(
            f"This board has {text}; hard timers need 1.26 or newer.",
            "Install a newer MicroPython on the board.",
        )
    return text


def installed_version(device: Device) -> str:
    """Firmware version on the board; empty without one."""
    code = f"import sys\n{LIB!r} in sys.path or sys.path.append({LIB!r})\ntry:\n from rimward_fw import version\n print(version.FIRMWARE)\nexcept Exception: pass"
    said = device.run(
        code + "\nfor m in list(sys.modules):\n if m.startswith('rimward'): del sys.modules[m]"
    )
    return said.splitlines()[-1] if said else ""


def stale(device: Device, items: list[Item]) -> list[str]:
    """Obsolete files of the packages on the board: old modules, leftovers, the other form of a module."""
    wanted = {item.path for item in items}
    return [
        path
        for package in PACKAGES
        for path in device.files(f"{LIB}/{package}")
        if path not in wanted
    ]


def _swap(device: Device, items: list[Item], new: list[Item]) -> int:
    """Put the new files in place with main.py removed meanwhile: after a power cut in between the board starts nothing."""
    if new and device.digests([MAIN])[MAIN]:
        device.rename(MAIN, MAIN + AWAY)
    for item in new:
        if item.path != MAIN:
            device.rename(item.path + ASIDE, item.path)
    old = stale(device, items)
    for path in old:
        device.remove(path)
    held = device.digests([item.path for item in items])
    wrong = [item.path for item in items if item.path != MAIN and held[item.path] != item.digest]
    if wrong:
        raise Refusal(
            f"After the install {wrong[0]} has wrong contents; the board does not start now.",
            "Install again.",
        )
    main = next(item for item in items if item.path == MAIN)
    if new:
        device.rename(MAIN + ASIDE if main in new else MAIN + AWAY, MAIN)
    device.remove(MAIN + AWAY)
    if device.digests([MAIN])[MAIN] != main.digest:
        raise Refusal("After the install main.py has wrong contents.", "Install again.")
    return len(old)


def install(device: Device, items: list[Item], tell: Tell, compiled: bool = True) -> Outcome:
    """Install all files. A failure before the last digest leaves the old firmware untouched."""
    runs = interpreter(device, compiled)
    before = installed_version(device)
    held = device.digests([item.path for item in items])
    new = [item for item in items if held[item.path] != item.digest]
    device.folders([item.path for item in new])
    for number, item in enumerate(new, 1):
        tell(f"{number}/{len(new)} {item.path} ({len(item.data)} bytes)")
        device.write(item.path + ASIDE, item.data)
    aside = device.digests([item.path + ASIDE for item in new])
    bad = [item.path for item in new if aside[item.path + ASIDE] != item.digest]
    if bad:
        for item in new:
            device.remove(item.path + ASIDE)
        raise Refusal(
            f"{bad[0]} reads back differently.",
            "Try again; if it repeats, the board's flash is worn.",
        )
    removed = _swap(device, items, new)
    size = sum(len(item.data) for item in items)
    return Outcome(runs, before, firmware_version(), len(new), len(items) - len(new), removed, size)
