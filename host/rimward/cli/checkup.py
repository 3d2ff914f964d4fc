"""Checks of `rimward doctor`: each gives one row, never an error."""

import importlib.metadata
import platform
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from rimward_fw.version import FIRMWARE
from rimward_protocol import layout

from rimward import __version__
from rimward.base import extras, settings
from rimward.base.errors import Refusal
from rimward.device.link.ports import inflators
from rimward.sessions.report.archive import Archive
from rimward.wheels import keys
from rimward.wheels.register import open_register
from rimward.wheels.register.place import data_dir

LEAST_FREE_BYTES = 200_000_000


@dataclass(frozen=True)
class Check:
    """One finding. `state`: ok, note (works without it) or wrong; `fix`: next step."""

    what: str
    state: str
    found: str
    fix: str = ""


def checkup(database: str | None = None) -> Iterator[Check]:
    """Run every check; a Refusal becomes its row."""
    for what, check in CHECKS.items():
        try:
            yield from check(what, database)
        except Refusal as refusal:
            yield Check(what, "wrong", refusal.text, refusal.fix)


def _versions(what: str, _database: str | None) -> Iterator[Check]:
    yield Check(
        what,
        "ok",
        f"Rimward {__version__}, firmware {FIRMWARE}, layouts {layout.layout_hash().hex()}, Python {platform.python_version()}",
    )
    for extra in extras.MODULES:
        lacks = extras.missing(extra)
        if lacks:
            yield Check(
                f"extra {extra}",
                "note",
                f"not installed: {', '.join(lacks)}.",
                f"To add it: pip install 'rimward[{extra}]'.",
            )
        else:
            yield Check(f"extra {extra}", "ok", "installed")


def _packages(what: str, _database: str | None) -> Iterator[Check]:
    """Return the requirements that this environment does not meet, as stated by the installed package."""
    from packaging.requirements import Requirement

    try:
        stated = importlib.metadata.requires("rimward") or []
    except importlib.metadata.PackageNotFoundError:
        yield Check(
            what,
            "note",
            "Rimward is not installed as a package.",
            "Install it: pip install -e '.[sim]'.",
        )
        return
    wrong = []
    for text in stated:
        need = Requirement(text)
        if need.marker is None or need.marker.evaluate({"extra": ""}):
            try:
                have = importlib.metadata.version(need.name)
            except importlib.metadata.PackageNotFoundError:
                wrong.append(f"{need.name} missing")
                continue
            if have not in need.specifier:
                wrong.append(f"{need.name} {have}, wanted {need.specifier}")
    if wrong:
        yield Check(what, "wrong", "; ".join(wrong) + ".", "Reinstall Rimward with pip.")
    else:
        yield Check(what, "ok", "all requirements are installed")


def _interpreter(what: str, _database: str | None) -> Iterator[Check]:
    try:
        from rimward.simulation.virtual.interpreter import (
            find_interpreter,  # its package belongs to an extra, which doctor must not require
        )
    except ModuleNotFoundError as lacking:
        yield Check(
            what,
            "note",
            f"not searched: {lacking.name} is missing.",
            f"To add it: pip install 'rimward[{extras.extra_of(lacking.name or '') or 'sim'}]'.",
        )
        return
    found = find_interpreter()
    yield Check(what, "note", found.notice) if found.notice else Check(what, "ok", found.argv[0])


def _settings(what: str, _database: str | None) -> Iterator[Check]:
    stated = {name: settings.find(name) for name in settings.SETTINGS}
    shown = ", ".join(
        f"{name} {found.value} ({found.source})"
        for name, found in stated.items()
        if found.value is not None
    )
    yield Check(what, "ok", f"{settings.settings_file()}: {shown or 'all at their defaults'}")


def _data(what: str, _database: str | None) -> Iterator[Check]:
    try:
        folder = data_dir()
        free = shutil.disk_usage(folder).free
    except OSError as failed:
        yield Check(
            what,
            "wrong",
            f"{failed.filename}: {failed.strerror}.",
            "Name another folder: rimward config set data FOLDER.",
        )
        return
    if free < LEAST_FREE_BYTES:
        yield Check(
            what,
            "wrong",
            f"{folder}, only {free // 1_000_000} MB free.",
            "Free space on that disk.",
        )
    else:
        yield Check(what, "ok", f"{folder}, {free // 1_000_000} MB free")


def _register(what: str, database: str | None) -> Iterator[Check]:
    register = open_register(database)
    try:
        count = len(register.all())
        yield Check(
            what,
            "ok",
            f"{register.engine.url.render_as_string(hide_password=True)}, {count} {'wheel' if count == 1 else 'wheels'} in use",
        )
    finally:
        register.close()


def _key(what: str, _database: str | None) -> Iterator[Check]:
    ring = keys.load()
    if ring.keys:
        yield Check(
            what, "ok", f"{ring.keys[0].key_id} of {ring.keys[0].made}, kept in: {ring.kept_in}"
        )
    else:
        yield Check(
            what,
            "note",
            "none: no profile can be tagged.",
            "Make one: rimward key new; or import one: rimward key import FILE.",
        )


def _sessions(what: str, _database: str | None) -> Iterator[Check]:
    yield Check(what, "ok", f"{len(Archive().find(most=1_000_000))} kept")


def _inflators(what: str, _database: str | None) -> Iterator[Check]:
    rows = list(inflators())
    if not rows:
        yield Check(
            what, "note", "no port with an inflator.", "Plug one in, or start one: rimward virtual."
        )
    for row in rows:
        if not row["inflator"]:
            yield Check(what, "note", f"{row['port']}: {row['why']}")
        elif row["layout"] != layout.layout_hash().hex() or row["firmware"] != FIRMWARE:
            yield Check(
                what,
                "wrong",
                f"{row['port']}: firmware {row['firmware']}, layouts {row['layout']}.",
                "Update the older side: rimward install, or pip.",
            )
        elif row["latched"]:
            yield Check(
                what,
                "wrong",
                f"{row['port']}: {row['device']} is tripped.",
                f"See why: rimward inflators --port {row['port']}.",
            )
        else:
            yield Check(
                what, "ok", f"{row['port']}: {row['device']}, firmware {row['firmware']}, current"
            )


CHECKS: dict[str, Callable[[str, str | None], Iterator[Check]]] = {
    "versions": _versions,
    "packages": _packages,
    "interpreter": _interpreter,
    "settings": _settings,
    "data folder": _data,
    "register": _register,
    "workshop key": _key,
    "sessions": _sessions,
    "inflators": _inflators,
}
