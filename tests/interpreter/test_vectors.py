"""Host, protocol package on CPython, and protocol package on two MicroPythons write and read the same bytes."""

import json

import pytest

from tests.interpreter import check_vectors, make_vectors, record_vectors

VECTORS = {
    name: json.loads((make_vectors.FOLDER / f"{name}.json").read_text())
    for name in check_vectors.CHECKS
}
RUN = """
import check_vectors
count, problems = check_vectors.run(FOLDER + "/vectors")
for line in problems:
    print(line)
print("checks", count)
"""


@pytest.mark.parametrize("name", sorted(VECTORS))
def test_vector_files_are_what_the_host_writes(name: str) -> None:
    text = make_vectors.text_of(make_vectors.everything()[name])
    assert (make_vectors.FOLDER / f"{name}.json").read_text() == text, (
        "run `python -m tests.interpreter.make_vectors`, look at the change"
    )


def test_no_other_vector_files() -> None:
    assert {path.stem for path in make_vectors.FOLDER.iterdir()} == set(VECTORS)


def test_protocol_package_on_cpython() -> None:
    count, problems = check_vectors.run(str(make_vectors.FOLDER))
    assert problems == []
    assert count > 200


def test_protocol_package_on_micropython(micropython) -> None:
    count, _problems = check_vectors.run(str(make_vectors.FOLDER))
    assert micropython(RUN).splitlines() == [f"checks {count}"]


def test_the_check_can_fail() -> None:
    check = check_vectors.Checker()
    broken = json.loads(json.dumps(VECTORS["frames"]))
    broken["frames"][0]["wire"] = broken["frames"][0]["wire"].replace("02", "03", 1)
    check_vectors.check_frames(check, broken)
    assert len(check.problems) == 2


def test_every_message_and_block_kind_has_a_vector() -> None:
    from rimward_protocol import enumerations, messages, tables

    assert (
        [row["number"] for row in VECTORS["messages"]]
        == [row[0] for row in messages.PAYLOADS]
        == [row[0] for row in enumerations.MESSAGES]
    )
    assert {kind for kind, _payload in VECTORS["session"]["blocks"]} == {
        row[0] for row in tables.BLOCKS
    }


def test_host_reads_the_vectors() -> None:
    import numpy as np
    from rimward.formats import records
    from rimward_protocol import layout

    for row in VECTORS["messages"]:
        fields = records.unpack_message(row["number"], bytes.fromhex(row["hex"]))
        assert record_vectors.hexed(fields) == row["fields"]
        assert records.pack_message(row["number"], **fields).hex() == row["hex"]
    for row in VECTORS["session"]["fast"]:
        tick, columns, changes = records.fast_columns(bytes.fromhex(row["hex"]))
        assert (tick, columns.tolist(), [list(c) for c in changes.tolist()]) == (
            row["tick"],
            row["columns"],
            row["changes"],
        )
    head = np.frombuffer(
        bytes.fromhex(VECTORS["session"]["header_hex"]), records.dtype(layout.SESSION_HEADER)
    )[0]
    for name, value in VECTORS["session"]["header"].items():
        assert (bytes(head[name]).hex() if isinstance(value, str) else head[name]) == value
    for row in VECTORS["profile"]["good"]:
        data = bytes.fromhex(row["hex"])
        fields = records.unpack_profile(data)
        want = {**row["fields"], "label": records.text_of(bytes.fromhex(row["fields"]["label"]))}
        assert record_vectors.hexed(fields) == want
        kept = {
            name: value
            for name, value in fields.items()
            if name not in ("magic", "version", "crc", "tag")
        }
        assert records.pack_profile(kept)[:92] == data[:92]
