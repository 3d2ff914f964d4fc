"""The register on a real PostgreSQL server, started here on a port of its own and stopped at the end.

Needs the Debian package `postgresql` (or any build under /usr/lib/postgresql); without it this test fails and says so.
"""

import json
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from rimward.wheels.register import open_register, schema
from rimward.wheels.register.engine import make_engine
from rimward.wheels.register.place import database_url

from tests.unit.shopdesk import FRONT


def programs() -> Path:
    """The newest installed server's programs."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"), key=lambda p: int(p.parts[-3]))
    assert found, "PostgreSQL is not installed: apt-get install postgresql"
    return found[-1].parent


def free_port() -> int:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return listening.getsockname()[1]


def as_server_user(words: list[str], folder: Path) -> None:
    """Run a server program; the server refuses to run as root, so root becomes `postgres`."""
    other = (
        {"user": "postgres", "group": pwd.getpwnam("postgres").pw_gid, "extra_groups": []}
        if os.geteuid() == 0
        else {}
    )
    log = folder / "programs.log"
    with log.open("ab") as out:
        done = subprocess.run(
            words,
            stdout=out,
            stderr=out,
            stdin=subprocess.DEVNULL,
            timeout=60,
            cwd=folder,
            check=False,
            **other,
        )
    assert done.returncode == 0, log.read_text(errors="replace")[-2000:]


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """The URL of an empty database on a server of its own."""
    folder = Path(tempfile.mkdtemp(prefix="rw-pg-"))
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
    port, data, bin_dir = free_port(), folder / "data", programs()
    settings = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
    started = False
    try:
        as_server_user(
            [
                str(bin_dir / "initdb"),
                "-D",
                str(data),
                "-U",
                "postgres",
                "-A",
                "trust",
                "-E",
                "UTF8",
                "--no-sync",
            ],
            folder,
        )
        as_server_user(
            [
                str(bin_dir / "pg_ctl"),
                "-D",
                str(data),
                "-l",
                str(folder / "server.log"),
                "-o",
                settings,
                "-w",
                "start",
            ],
            folder,
        )
        started = True
        yield f"postgresql://postgres@127.0.0.1:{port}/postgres"
    finally:
        if started:
            as_server_user(
                [str(bin_dir / "pg_ctl"), "-D", str(data), "-m", "immediate", "-w", "stop"], folder
            )
        shutil.rmtree(folder, ignore_errors=True)


def test_smoke_on_a_server(server, desk, tmp_path):
    """Migration with its backup, entry, search, edit, history, profile, tag, and the database's own refusal to overwrite."""
    engine = make_engine(database_url(server))
    schema.migrate(engine, "0001")
    row = {
        "wheel_id": "b" * 16,
        "seq": 1,
        "field": "label",
        "value": '"Früh"',
        "at_ms": 1_700_000_000_000,
        "who": "x",
        "marking": "",
        "note": "",
    }
    with engine.connect() as conn, conn.begin():
        conn.execute(sa.insert(schema.change), [row])

    assert desk("wheel", "show", "b" * 16, "--history", "--database", server) == 0, desk.err
    (saved,) = (tmp_path / "data" / "backups").glob("*.jsonl")
    assert json.loads(saved.read_text())["value"] == '"Früh"'

    added = desk.json("wheel", "add", *FRONT, "--database", server)
    assert [
        w["wheel_id"] for w in desk.json("wheel", "find", "asp", "--database", server)["wheels"]
    ] == [added["wheel_id"]]
    assert desk.json("wheel", "edit", "aspen", "--tags", "race", "--database", server)["tags"] == [
        "race"
    ]
    made = desk.json(
        "profile",
        "make",
        "--wheel",
        "aspen",
        "--target",
        "4.2 bar",
        "-o",
        tmp_path / "a.rwp",
        "--database",
        server,
    )
    assert made["profile"]["revision"] == 1 and made["standing"] == "current"
    desk.json(
        "profile",
        "make",
        "--wheel",
        "aspen",
        "--target",
        "4.3 bar",
        "-o",
        tmp_path / "b.rwp",
        "--database",
        server,
    )
    assert (
        desk.json("profile", "show", tmp_path / "a.rwp", "--database", server)["standing"]
        == "superseded"
    )
    assert not (tmp_path / "data" / "register.db").exists()

    for statement in (
        "UPDATE change SET value = '\"9 bar\"'",
        "DELETE FROM change",
        "TRUNCATE change",
    ):
        with (
            pytest.raises(sa.exc.DBAPIError, match="append-only"),
            engine.connect() as conn,
            conn.begin(),
        ):
            conn.execute(sa.text(statement))
    engine.dispose()


def test_two_programs_on_a_server_never_give_one_revision_twice(server):
    from concurrent.futures import ThreadPoolExecutor

    def issue(register, wheel_id):
        for _ in range(15):
            register.record(
                wheel_id,
                lambda now: {
                    "profile": {
                        "revision": now.values.get("profile", {"revision": 0})["revision"] + 1
                    }
                },
            )

    registers = [open_register(server) for _ in range(2)]
    wheel_id = registers[0].add({"label": "Elm", "rim": "622x23TSS", "tyre": "28-622"}).wheel_id
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(issue, registers, [wheel_id] * 2))
    revisions = [
        c.value["revision"] for c in registers[0].history(wheel_id) if c.field == "profile"
    ]
    assert revisions == list(range(1, 31))
    for register in registers:
        register.close()
