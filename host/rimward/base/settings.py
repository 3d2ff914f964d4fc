"""User settings: a table; each from its environment variable, else from the settings file, else its default.

The file is TOML, at the platform's place for settings or where RIMWARD_CONFIG says.
"""

import difflib
import functools
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import platformdirs

from rimward.base.errors import Refusal

FILE_VARIABLE = "RIMWARD_CONFIG"
FILE_NAME = "config.toml"


@dataclass(frozen=True)
class Setting:
    """One setting: name in the file, environment variable, meaning, and default."""

    name: str
    variable: str
    says: str
    default: str
    choices: tuple[str, ...] = ()


SETTINGS: dict[str, Setting] = {
    row.name: row
    for row in (
        Setting("port", "RIMWARD_PORT", "serial port of the inflator", "the only inflator present"),
        Setting(
            "database",
            "RIMWARD_DATABASE",
            "the register: a file, or postgresql://USER@HOST/NAME",
            "register.db in the data folder",
        ),
        Setting(
            "data",
            "RIMWARD_DATA",
            "folder of the register, kept sessions and keys",
            "the platform's data folder",
        ),
        Setting(
            "keystore",
            "RIMWARD_KEYSTORE",
            "storage of the workshop key",
            "the system's keyring, else a file",
            ("keyring", "file"),
        ),
        Setting("user", "RIMWARD_USER", "the person who enters and fills", "the login name"),
        Setting("workshop", "RIMWARD_WORKSHOP", "name of the workshop, printed on reports", "none"),
        Setting("paper", "RIMWARD_PAPER", "paper of reports and cards", "a4", ("a4", "letter")),
    )
}


@dataclass(frozen=True)
class Found:
    """Value of a setting and its source: `environment`, `file` or `default` (value None)."""

    value: str | None
    source: str


def settings_file() -> Path:
    """Return the settings file; it need not exist."""
    stated = os.environ.get(FILE_VARIABLE)
    return (
        Path(stated)
        if stated
        else Path(platformdirs.user_config_dir("rimward", appauthor=False)) / FILE_NAME
    )


def find(name: str) -> Found:
    """Value of a setting. Raises Refusal for an unreadable settings file or a value that is not allowed."""
    setting = SETTINGS[name]
    stated = os.environ.get(setting.variable)
    if stated:
        return Found(_checked(setting, stated, setting.variable), "environment")
    held = _read(settings_file()).get(name)
    if held:
        return Found(_checked(setting, held, str(settings_file())), "file")
    return Found(None, "default")


def value(name: str) -> str | None:
    """Value of a setting, None if unset."""
    return find(name).value


def store(name: str, wanted: str | None) -> Path:
    """Write a setting into the file, or remove it (None). Comments and order are preserved. Return the file."""
    setting = _known(name)
    if wanted is not None:
        if not wanted.strip() or not wanted.isprintable():
            raise Refusal(
                f"{name} cannot be empty or hold control characters.",
                f"Give a value, or remove it: rimward config unset {name}.",
            )
        _checked(setting, wanted, "this command")
    import tomlkit

    path = settings_file()
    document = _document(path)
    if wanted is None:
        document.pop(name, None)
    else:
        document[name] = wanted
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        aside = path.with_name(f"{path.name}.{os.getpid()}.part")
        aside.write_text(tomlkit.dumps(document), encoding="utf-8")
        aside.replace(path)
    except OSError as failed:
        raise Refusal(
            f"The settings file {path} cannot be written: {failed.strerror}.",
            f"Check its permissions, or name another in {FILE_VARIABLE}.",
        ) from failed
    return path


def _known(name: str) -> Setting:
    if name not in SETTINGS:
        near = difflib.get_close_matches(name, SETTINGS, 1)
        raise Refusal(
            f"Unknown setting '{name}'.",
            f"Did you mean '{near[0]}'?" if near else f"Known settings: {', '.join(SETTINGS)}.",
        )
    return SETTINGS[name]


def _checked(setting: Setting, text: str, where: str) -> str:
    if setting.choices and text not in setting.choices:
        raise Refusal(
            f"{setting.name} is '{text}' in {where}.", f"Use one of {', '.join(setting.choices)}."
        )
    return text


def _document(path: Path) -> Any:
    import tomlkit  # imported here, so that a command without a settings file does not pay for it
    from tomlkit.exceptions import TOMLKitError

    try:
        return tomlkit.parse(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return tomlkit.document()
    except (TOMLKitError, UnicodeDecodeError) as wrong:
        raise Refusal(
            f"The settings file {path} cannot be read: {wrong}.",
            "Correct this line, or move the file.",
        ) from wrong
    except OSError as failed:
        raise Refusal(
            f"The settings file {path} cannot be read: {failed.strerror}.", "Check its permissions."
        ) from failed


@functools.lru_cache(maxsize=4)
def _parsed(path: Path, _stamp: tuple[int, int]) -> dict[str, str]:
    held = {}
    for name, text in _document(path).unwrap().items():
        if name not in SETTINGS or not isinstance(text, str):
            raise Refusal(
                f"The settings file {path} has an invalid entry '{name}'.",
                f"It accepts texts for: {', '.join(SETTINGS)}.",
            )
        held[name] = text
    return held


def _read(path: Path) -> dict[str, str]:
    """Return the settings in the file; read again after a change."""
    try:
        about = path.stat()
    except OSError:
        return {}
    return _parsed(path, (about.st_mtime_ns, about.st_size))
