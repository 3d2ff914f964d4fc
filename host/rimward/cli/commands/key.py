"""`rimward key`: the workshop key that tags profiles."""

import os
from pathlib import Path

import click

from rimward.base.output import console, emit_json
from rimward.cli.commands._port import port_option, tell
from rimward.cli.commands.wheel_options import JSON, options
from rimward.device.link import verbs
from rimward.device.link.ports import open_client
from rimward.wheels import keys

PHRASE_VARIABLE = "RIMWARD_PASSPHRASE"
PURPOSE = click.option(
    "--purpose",
    type=click.Choice(keys.PURPOSES),
    default="workshop",
    help="Which key; a proof bench has one of its own.",
)


def report(ring: keys.Ring, purpose: str, as_json: bool, text: str = "") -> None:
    """Print the keys' names; never a key itself."""
    if as_json:
        held = [
            {
                "key_id": k.key_id,
                "fingerprint": k.check[:4].hex(),
                "made": k.made,
                "current": i == 0,
            }
            for i, k in enumerate(ring.keys)
        ]
        emit_json({"purpose": purpose, "kept_in": ring.kept_in, "keys": held})
        return
    if text:
        console.print(text, markup=False)
    for i, key in enumerate(ring.keys):
        console.print(
            f"{key.key_id}  fingerprint {key.check[:4].hex()}  made {key.made}  {'in use' if i == 0 else 'earlier: only to recognise old tags'}",
            markup=False,
        )
    console.print(
        f"{len(ring.keys)} {purpose} key{'' if len(ring.keys) == 1 else 's'}, kept in: {ring.kept_in}",
        markup=False,
    )


def passphrase(new: bool = False) -> str:
    """Passphrase of an exported key: the variable RIMWARD_PASSPHRASE, else asked for, twice for a new one."""
    stated = os.environ.get(PHRASE_VARIABLE)
    return (
        stated
        if stated
        else str(click.prompt("Passphrase", hide_input=True, confirmation_prompt=new, err=True))
    )


@click.group()
def command() -> None:
    """Workshop key: it proves that a profile comes from this workshop, not that it is right."""


@command.command()
@options(PURPOSE, JSON)
def show(purpose: str, as_json: bool) -> None:
    """Show the short names of this computer's keys."""
    report(keys.load(purpose), purpose, as_json)


@command.command()
@options(PURPOSE, JSON)
def new(purpose: str, as_json: bool) -> None:
    """Make the first key."""
    report(
        keys.new(purpose),
        purpose,
        as_json,
        "Made. Export a copy and lock it away; then enrol it in each inflator.",
    )


@command.command()
@options(PURPOSE, JSON)
def rotate(purpose: str, as_json: bool) -> None:
    """Replace the key, after a possible disclosure or the loss of an inflator."""
    report(
        keys.rotate(purpose),
        purpose,
        as_json,
        "Replaced. Enrol it in each inflator, make its profiles again, print the tags again.",
    )


@command.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@options(PURPOSE, JSON)
def export(file: Path, purpose: str, as_json: bool) -> None:
    """Write the key to a new file, encrypted with a passphrase that is asked for (or in the variable RIMWARD_PASSPHRASE)."""
    key = keys.export(file, purpose, passphrase(new=True))
    if as_json:
        emit_json({"file": str(file), "purpose": purpose, "key_id": key.key_id})
        return
    console.print(
        f"Key {key.key_id} written to {file}. It opens with the passphrase only: keep the two apart. Who has both can tag profiles.",
        markup=False,
    )


@command.command("import")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@options(PURPOSE, JSON)
def import_(file: Path, purpose: str, as_json: bool) -> None:
    """Import a key exported by another computer of this workshop."""
    if keys.readable_by_others(file):
        click.echo(
            f"Others on this computer can read {file}: delete it once the key is taken over.",
            err=True,
        )
    protected = keys.is_protected(file)
    if not protected:
        click.echo(
            "This file is not protected by a passphrase. Delete it, and export the key again: rimward key export.",
            err=True,
        )
    report(
        keys.take_over(file, purpose, passphrase() if protected else ""),
        purpose,
        as_json,
        "Taken over.",
    )


@command.command()
@options((port_option,), JSON)
def ask(port: str, as_json: bool) -> None:
    """Show which key an inflator holds."""
    with open_client(port) as client:
        held = verbs.held_key(client)
        purpose = "bench" if verbs.is_bench(client) else "workshop"
    found = next((k for k in keys.load(purpose).keys if held == k.check), None)
    fingerprint = held[:4].hex() if held else None
    if as_json:
        emit_json(
            {"port": port, "fingerprint": fingerprint, "key_id": found.key_id if found else None}
        )
    elif fingerprint is None:
        console.print(
            "The inflator holds no key: it takes no profile. Enrol one: rimward key enrol.",
            markup=False,
        )
    else:
        ours = f"key {found.key_id} of this computer" if found else "none of this computer's keys"
        console.print(
            f"The inflator holds the key with the fingerprint {fingerprint}: {ours}.", markup=False
        )


@command.command()
@options((port_option,), PURPOSE, JSON)
def enrol(port: str, purpose: str, as_json: bool) -> None:
    """Send this workshop's key to an inflator; confirm it there with the workshop button."""
    key = keys.load(purpose).current
    with open_client(port) as client:
        verbs.enrol_key(client, key.key, tell)
    if as_json:
        emit_json({"port": port, "key_id": key.key_id, "enrolled": True})
    else:
        text = f"Key {key.key_id} is in this inflator: from now on it takes a ceiling only from profiles tagged with it. Send its profiles again."
        console.print(text, markup=False)
