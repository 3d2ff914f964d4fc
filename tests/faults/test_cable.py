"""A cable pulled at every byte, in either direction: the old profile stays in force, nothing half is stored, the next conversation works."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from rimward.base.errors import Refusal
from rimward.device.link import Client, LockstepTransport, verbs
from rimward.device.link.transport import LineLost, lost
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of
from rimward.simulation.virtual import VirtualInflator
from rimward_protocol import codes, frame

from tests.unit.linkbench import profile

OLD = profile(revision=1)


class Cable(LockstepTransport):
    """A line that breaks once, after so many bytes out or in, and comes back when it is opened again."""

    def __init__(self, inflator: VirtualInflator, out: int = -1, back: int = -1) -> None:
        super().__init__(inflator)
        self.out, self.back = out, back
        self.breaks = 0

    def write(self, data: bytes) -> None:
        if 0 <= self.out < len(data):
            self.inflator.write(data[: self.out])
            self.out = -1
            self.broken()
        if self.out >= 0:
            self.out -= len(data)
        self.inflator.write(data)

    def read(self) -> bytes:
        if self.back == 0:
            self.back = -1
            self.inflator.read()  # what was under way is lost
            self.broken()
        data = super().read()
        if self.back > 0:
            data = data[: self.back]
            self.back -= len(data)
        return data

    def broken(self) -> None:
        self.breaks += 1
        raise lost("virtual")


@pytest.fixture(scope="module")
def inflator() -> Iterator[VirtualInflator]:
    with VirtualInflator(plant_of(Scenario())) as made:
        Person(made).bring(OLD)
        yield made


def held(inflator: VirtualInflator) -> list[bytes]:
    """What the inflator holds, asked in a new conversation."""
    with Client(LockstepTransport(inflator), hold=False) as client:
        return [row["data"] for row in verbs.list_profiles(client)]


def test_cable_pulled_at_every_byte_of_an_upload(inflator: VirtualInflator) -> None:
    upload = b"\0" + frame.encode(codes.PROFILE_PUT, 9, profile(revision=2))
    assert len(upload) > 112
    for cut in range(len(upload) - 1):
        client = Client(LockstepTransport(inflator), hold=False)
        client.transport.write(upload[:cut])
        assert held(inflator) == [OLD], cut
    assert inflator.restarts == 0


def test_only_the_closing_zero_missing(inflator: VirtualInflator) -> None:
    """All of the profile and its check code have come; the next conversation's first zero ends the frame."""
    new = profile(revision=2)
    client = Client(LockstepTransport(inflator), hold=False)
    client.transport.write(frame.encode(codes.PROFILE_PUT, 9, new)[:-1])
    assert held(inflator) == [new]


def test_whole_upload_without_its_answer_counts(inflator: VirtualInflator) -> None:
    new = profile(revision=3)
    client = Client(LockstepTransport(inflator), hold=False)
    client.transport.write(frame.encode(codes.PROFILE_PUT, 9, new))
    assert held(inflator) == [new]
    with Client(LockstepTransport(inflator)) as client:
        assert verbs.send_profile(client, new)["revision"] == 3
        with pytest.raises(Refusal, match="issue-not-newer"):
            verbs.send_profile(client, OLD)


def test_power_cut_within_an_upload() -> None:
    upload = frame.encode(codes.PROFILE_PUT, 9, profile(revision=2))
    with VirtualInflator(plant_of(Scenario())) as inflator:
        Person(inflator).bring(OLD)
        for cut in (1, len(upload) // 2, len(upload) - 1):
            client = Client(LockstepTransport(inflator))
            client.transport.write(upload[:cut])
            inflator.power_cycle()
            assert held(inflator) == [OLD], cut
        assert inflator.restarts == 3


def test_host_goes_on_wherever_the_line_breaks(inflator: VirtualInflator) -> None:
    """Every byte of a whole conversation out, every byte of the answers back: with patience the upload is done, and done once."""
    whole = len(frame.encode(codes.PROFILE_PUT, 1, OLD)) + 1
    for number, (out, back) in enumerate(
        [(n, -1) for n in range(0, whole, 3)] + [(-1, n) for n in range(0, 44, 2)]
    ):
        new = profile(revision=10 + number)
        line = Cable(inflator)
        client = Client(line, reconnect_s=1.0)
        line.out, line.back = out, back
        assert verbs.send_profile(client, new)["revision"] == 10 + number
        assert line.breaks == 1 and client.reopened == 1
        client.close()
        assert held(inflator) == [new]


def test_without_patience_it_says_so(inflator: VirtualInflator) -> None:
    line = Cable(inflator)
    client = Client(line)
    line.out = 5
    with pytest.raises(LineLost, match="was lost. Plug the cable in"):
        verbs.status(client)


@pytest.fixture(scope="module")
def recorded() -> Iterator[tuple[VirtualInflator, int, bytes]]:
    """An inflator with a session in it: (inflator, number, bytes)."""
    with VirtualInflator(plant_of(Scenario())) as made:
        person = Person(made)
        person.bring(OLD)
        person.choose(Scenario().wheel_id())
        person.hold(2.0)
        made.advance(0.3)
        person.choose(bytes(8))
        row = verbs.list_sessions(person.client)[0]
        pieces: list[bytes] = []
        person.client.pull(row["session"], 0, row["bytes"], pieces.append)
        person.client.close()
        yield made, row["session"], b"".join(pieces)


def test_pull_comes_whole_wherever_the_line_breaks(
    recorded: tuple[VirtualInflator, int, bytes],
) -> None:
    inflator, number, whole = recorded
    assert len(whole) > 3000
    for back in range(0, len(whole), 211):
        line = Cable(inflator)
        client = Client(line, reconnect_s=1.0)
        line.back = back
        pieces: list[bytes] = []
        client.pull(number, 0, len(whole), pieces.append)
        assert b"".join(pieces) == whole and line.breaks == 1, back
        client.close()


def test_pull_given_up_goes_on_next_time(
    recorded: tuple[VirtualInflator, int, bytes], tmp_path: Path
) -> None:
    inflator, number, whole = recorded
    to = tmp_path / "one.rws"
    parts = []
    for _ in range(50):
        line = Cable(inflator)
        client = Client(line)
        try:
            line.back = 3000
            verbs.pull_session(client, number, to)
            break
        except LineLost:
            parts += [path.stat().st_size for path in tmp_path.glob("*.part")]
            client.close()
    assert to.read_bytes() == whole
    assert parts == sorted(parts) and len(set(parts)) == len(parts) > 1
    assert not list(tmp_path.glob("*.part"))


def test_pieces_lost_or_out_of_order_are_asked_for_again(
    recorded: tuple[VirtualInflator, int, bytes],
) -> None:
    inflator, number, whole = recorded

    class Holes(LockstepTransport):
        """Every so often a byte arrives damaged."""

        count = 0

        def read(self) -> bytes:
            data = bytearray(super().read())
            for i in range(len(data)):
                self.count += 1
                if self.count % 1501 == 0:
                    data[i] ^= 0x20
            return bytes(data)

    client = Client(Holes(inflator), tries=5)
    pieces: list[bytes] = []
    client.pull(number, 0, len(whole), pieces.append)
    assert b"".join(pieces) == whole
    client.close()


def test_a_line_that_damages_every_large_piece_is_asked_for_smaller_ones(
    recorded: tuple[VirtualInflator, int, bytes],
) -> None:
    """The 150th byte of every answer is damaged: no whole piece ever passes, one of 64 bytes does."""
    inflator, number, whole = recorded

    class Disturbed(LockstepTransport):
        since = 0

        def write(self, data: bytes) -> None:
            self.since = 0
            super().write(data)

        def read(self) -> bytes:
            data = bytearray(super().read())
            place = 150 - self.since
            if 0 <= place < len(data):
                data[place] ^= 0x20
            self.since += len(data)
            return bytes(data)

    client = Client(Disturbed(inflator))
    pieces: list[bytes] = []
    client.pull(number, 0, 1000, pieces.append)
    assert b"".join(pieces) == whole[:1000] and max(map(len, pieces)) < 150
    client.close()
