"""Damaged frames, a quick seeded part of what `python -m tests.trust` runs in full: every parser agrees, nothing escapes, nothing corrupt is taken."""

import pytest
from rimward_protocol import codes, frame

from tests.fuzz import frames, linkruns, reference


def test_parsers_and_library_parts_agree() -> None:
    counts = reference.compare(seed=11, count=6000)
    assert counts["frames"] > 2000 and counts["payloads"] > 1500
    assert counts["profiles_right"] > 100 and counts["profiles_wrong"] > 200


def test_every_way_of_damage_is_drawn() -> None:
    maker = frames.Maker(5)
    seen = set()
    for _ in range(400):
        maker.next()
        seen.add(maker.way)
    assert seen == set(frames.WAYS)


def test_micropython_judges_every_piece_as_cpython_does() -> None:
    assert linkruns.on_micropython("frames", 21, 2000) == frames.run(21, 2000)


def test_comparison_can_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    """A decoder that accepts a wrong check code is detected."""
    monkeypatch.setattr(frame.Decoder, "_judge", lenient)
    with pytest.raises(AssertionError):
        reference.compare(seed=11, count=300)


def lenient(self: frame.Decoder) -> int:
    length = self._count - frame.HEAD_BYTES - frame.CRC_BYTES
    if self._bad or self._left or length < 0:
        return frame.BAD_STUFFING
    self.version, self.kind = self._raw[0], self._raw[1]
    self.sequence, self.length = self._raw[2] | self._raw[3] << 8, length
    return frame.FRAME if self.version == codes.PROTOCOL_VERSION else frame.OTHER_VERSION


@pytest.mark.parametrize("held", [False, True], ids=["run-open", "run-held"])
def test_whole_firmware_under_damaged_frames(held: bool) -> None:
    judge_soak(linkruns.soak_here(31, 1500, held), 1500)


def test_whole_firmware_under_damaged_frames_on_micropython() -> None:
    judge_soak(linkruns.on_micropython("device", 41, 1500), 1500)


def judge_soak(seen: dict, pieces: int) -> None:
    problems = linkruns.problems_of(seen, pieces)
    assert not problems, (problems, seen)
    assert seen["answered"] > pieces // 5 and seen["dropped"] > pieces // 5
