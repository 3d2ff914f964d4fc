"""Which samples are verified: bench records fit the bench key, edited ones count only on request, and every sample states it."""

import json
from dataclasses import replace

import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.cli.main import cli
from rimward.proof import bench, reading, record, run, stated
from rimward.sessions import facts, read_session
from rimward.wheels import keys
from rimward_protocol import layout, sessionread

from tests.unit.benchdesk import shortened, test_of


@pytest.fixture(scope="module")
def tested(tmp_path_factory):
    """The folder of one short test up to 6.1 bar, where the tyre released, with its key."""
    folder = tmp_path_factory.mktemp("tested")
    with pytest.MonkeyPatch.context() as patch:
        shortened(patch)
        made = {}
        real = bench.Hands.enrol

        def remember(self, client, ring):
            made["ring"] = ring
            real(self, client, ring)

        patch.setattr(bench.Hands, "enrol", remember)
        run.run_virtual(
            replace(test_of("7 bar"), columns=stated.parse(["batch=FW-12", "tyre_mounts=2"])),
            folder,
            lambda *_: None,
            blow_off="6.1 bar",
        )
    return folder, made["ring"]


@pytest.fixture
def here(tested, tmp_path, monkeypatch):
    """A computer without keys; gives the folder and the ring."""
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("RIMWARD_KEYSTORE", "file")
    return tested


def own_key(ring):
    keys.save(ring.keys, "file", "bench")


def call(*words):
    return CliRunner().invoke(cli, [str(word) for word in words])


def edited(path, to, times=3, key=None):
    """The record with every pressure of its trace multiplied and check codes corrected; with `key` chained again."""
    data = path.read_bytes()
    _why, header, found, _good = sessionread.read_blocks(data)
    head, rows = data[: header["header_bytes"]], []
    for kind, start, stop in found:
        payload = bytearray(data[start:stop])
        if kind == layout.BLOCK_TRACE:
            for at in range(record.HEAD.size, len(payload), record.RECORD.size):
                row = record.RECORD.unpack_from(payload, at)
                record.RECORD.pack_into(payload, at, row[0] * times, row[1] * times, *row[2:])
        rows.append((kind, bytes(payload)))
    to.write_bytes(head + record.chained(head, rows, key))
    return to


def test_an_untouched_record_is_verified_with_the_bench_key(here):
    folder, ring = here
    own_key(ring)
    for name in ("proof-bench001-1.rws", "proof-bench001-1-bench.rws"):
        shown = json.loads(call("session", "show", folder / name, "--json").stdout)
        assert shown["figures"]["verified"] and shown["figures"]["verification"]["chain"] is True
        assert call("session", "verify", folder / name).exit_code == 0
    found = json.loads(call("proof", "analyse", folder / "proof-bench001-1.rws", "--json").stdout)
    assert found["samples"][0]["verified"] and found["counts"]["verified"] == 1
    assert "not_verified" not in [warning["id"] for warning in found["warnings"]]


def test_without_a_bench_key_nothing_is_called_verified(here):
    folder, _ring = here
    shown = json.loads(call("session", "show", folder / "proof-bench001-1.rws", "--json").stdout)
    assert not shown["figures"]["verified"]
    found = json.loads(call("proof", "analyse", folder / "proof-bench001-1.rws", "--json").stdout)
    assert not found["samples"][0]["verified"] and "no bench key" in found["samples"][0]["evidence"]
    assert "1 of 1 samples are not verified" in " ".join(
        warning["text"] for warning in found["warnings"]
    )


@pytest.mark.parametrize("name", ["proof-bench001-1.rws", "proof-bench001-1-bench.rws"])
def test_an_edited_record_does_not_change_a_margin(here, tmp_path, name):
    """Pressures tripled, check codes right, chain by another key or none: refused where the bench key is here, never verified anywhere."""
    folder, ring = here
    own_key(ring)
    for key, why in ((None, "not chained"), (b"x" * 32, "does not fit")):
        fake = edited(folder / name, tmp_path / "fake.rws", key=key)
        shown = json.loads(call("session", "show", fake, "--json").stdout)
        assert not shown["figures"]["verified"]
        done = call("proof", "analyse", fake, "--json")
        assert done.exit_code != 0 and "--unverified" in str(done.exception)
        (row,) = json.loads(call("proof", "analyse", fake, "--json", "--unverified").stdout)[
            "samples"
        ]
        assert not row["verified"] and why in row["evidence"]


def test_a_typed_row_is_not_verified(here, tmp_path):
    path = tmp_path / "lab.csv"
    path.write_text("sample,release_bar,limit_bar,released\nA,8,5,yes\n", encoding="utf-8")
    found = json.loads(call("proof", "analyse", path, "--json").stdout)
    assert not found["samples"][0]["verified"] and "not_verified" in [
        warning["id"] for warning in found["warnings"]
    ]


def test_the_record_file_keeps_every_column_of_its_row(here, tmp_path):
    """Medium and rim width of the run, batch and a column of the lab's own typed in afterwards."""
    folder, _ring = here
    for ending in (".rws", ".csv"):
        (tmp_path / f"t{ending}").write_bytes((folder / f"proof-bench001-1{ending}").read_bytes())
    table = tmp_path / "t.csv"
    head, row = table.read_text().splitlines()
    table.write_text(f"{head},first_use,operator\n{row},yes,mk\n")
    (sample,) = reading.read_files([tmp_path / "t.rws"])
    assert (
        sample.known["medium"],
        sample.known["rim_inner_mm"],
        sample.known["tyre_nominal_mm"],
    ) == ("water", 23.0, 30.0)
    assert sample.known["first_use"] == "yes" and sample.raw["operator"] == "mk"
    (row,) = reading.read_files([table])
    assert row.known == sample.known


def test_the_record_file_alone_keeps_what_was_stated(here, tmp_path):
    """Medium and a batch stated before the test, without its row; an edit of either breaks the chain."""
    folder, ring = here
    own_key(ring)
    alone = tmp_path / "alone.rws"
    alone.write_bytes((folder / "proof-bench001-1.rws").read_bytes())
    (sample,) = reading.read_files([alone])
    assert sample.verified and (
        sample.known["medium"],
        sample.known["rim_inner_mm"],
        sample.known["tyre_nominal_mm"],
    ) == ("water", 23.0, 30.0)
    assert sample.known["batch"] == "FW-12" and sample.known["tyre_mounts"] == 2
    (row,) = reading.read_files([folder / "proof-bench001-1.csv"])
    assert row.known == sample.known
    alone.write_bytes(alone.read_bytes().replace(b"medium=water", b"medium=argon"))
    with pytest.raises(Refusal):
        reading.read_files([alone])


@pytest.mark.parametrize(
    "text",
    [
        "batch",
        "batch=",
        "hold_s=400",
        "released=no",
        "operator=mk",
        "tyre_mounts=none",
        "batch=a\nrim_id=b",
    ],
)
def test_impossible_statements_are_refused(text):
    with pytest.raises(Refusal):
        stated.parse([text])


def test_a_bench_record_never_says_to_hold_again(here):
    folder, _ring = here
    log = read_session(folder / "proof-bench001-1.rws")
    log.end["cause"] = 1
    found = facts.facts(log, check=False)
    assert "take a new one" in found.cause_next and "hold" not in found.cause_next
    assert found.size == "30-622 on a rim 23 mm wide inside" and found.made > "2024"


def test_a_lost_heartbeat_has_its_own_word(tmp_path, monkeypatch):
    """The host goes silent in the hold: the record says `beat-lost`, `session show` too; a released run control stays `released`."""
    from rimward.device.link import verbs

    from tests.unit.benchdesk import WATER, armed, desk, rising

    words = []
    for silent in (True, False):
        with desk() as (inflator, client, _hands):
            armed(inflator, client, WATER)
            rising(inflator, client)
            if silent:
                inflator.advance(2)
            else:
                inflator.hands.run = False
                inflator.advance(1)
            inflator.hands.run = False
            inflator.advance(3)
            path = tmp_path / f"{silent}.rws"
            verbs.pull_session(client, verbs.list_sessions(client)[0]["session"], path)
        found = facts.facts(read_session(path), check=False)
        words.append(found.cause)
        assert ("was released" in found.cause_reason) == (not silent)
    assert words == ["beat-lost", "released"]
