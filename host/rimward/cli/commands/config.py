"""`rimward config`: settings that apply to every command."""

import click

from rimward.base import settings
from rimward.base.output import console, emit_json
from rimward.cli.commands.wheel_options import JSON, options


@click.group(invoke_without_command=True)
@options(JSON)
@click.pass_context
def command(context: click.Context, as_json: bool) -> None:
    """Show or change settings: the port, the register, the data folder, the person. A given option has priority, then its variable, then the file.

    Without a subcommand it shows them all.
    """
    if context.invoked_subcommand is None:
        context.invoke(show, as_json=as_json)


@command.command()
@options(JSON)
def show(as_json: bool) -> None:
    """Show every setting with its value and source."""
    rows = [
        {
            "name": s.name,
            "variable": s.variable,
            "says": s.says,
            "default": s.default,
            **vars(settings.find(s.name)),
        }
        for s in settings.SETTINGS.values()
    ]
    if as_json:
        emit_json({"file": str(settings.settings_file()), "settings": rows})
        return
    console.print(
        f"{settings.settings_file()}{'' if settings.settings_file().exists() else ' (not there yet)'}",
        markup=False,
    )
    for row in rows:
        value = row["value"] if row["value"] is not None else f"({row['default']})"
        where = {
            "environment": f", from {row['variable']}",
            "file": ", from the file",
            "default": "",
        }[row["source"]]
        console.print(f"{row['name']:9} {value}{where}", markup=False)
        console.print(f"          {row['says']}; {row['variable']}", style="dim", markup=False)


@command.command("set")
@click.argument("name")
@click.argument("value")
@options(JSON)
def set_(name: str, value: str, as_json: bool) -> None:
    """Set NAME in the file, as rimward config set port /dev/ttyACM0."""
    _tell(name, value, as_json)


@command.command()
@click.argument("name")
@options(JSON)
def unset(name: str, as_json: bool) -> None:
    """Remove NAME from the file; its default applies again."""
    _tell(name, None, as_json)


def _tell(name: str, value: str | None, as_json: bool) -> None:
    path = settings.store(name, value)
    now = settings.find(name)
    if as_json:
        emit_json({"file": str(path), "name": name, **vars(now)})
        return
    console.print(f"{name} is {'not set' if value is None else value} in {path}.", markup=False)
    if now.source == "environment":
        console.print(
            f"{settings.SETTINGS[name].variable}={now.value} is set and counts first.", markup=False
        )
