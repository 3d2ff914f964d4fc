"""The firmware on a simulated board, a host on its line and a person's fingers. Shared by the tests of consent."""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from rimward_fw.control import events
from rimward_fw.ui import buttons
from rimward_fw.ui.display import filled, screen_of
from rimward_fw.ui.screens import turns
from rimward_protocol import causes, codes, enumerations, frame, layout, messages

from tests.fuzz import linkruns

sys.path.insert(0, str(Path(linkruns.__file__).parent))
from device import Board, drain, greeting, running, turn  # type: ignore[import-not-found]  # noqa: E402
from frames import base_profile  # type: ignore[import-not-found]  # noqa: E402

KEY = bytes(range(40, 72))
WHEEL = b"wheel-01"
WITH_CAUSE = (events.TRIPPED, events.REFUSED)


class Inflator:
    """The firmware on a simulated board, a host on its line, a person's fingers."""

    def __init__(self) -> None:
        self.board = Board()
        self.app = running(self.board)
        self.decoder = frame.Decoder()
        self.number = 0
        self.events: list[tuple[int, int, int]] = []
        plain = self.app.note

        def note(event: int, cause: int, value: int, value2: int = 0) -> None:
            self.events.append((event, value, value2))
            without_record = (event, cause) == (
                events.ANSWER,
                causes.MEMORY,
            )  # the answer to the screen of a flash that takes no writes
            assert event in WITH_CAUSE or without_record or cause == 0, "nothing else has a cause"
            plain(event, cause, value, value2)

        self.app.note = note
        self.ask(codes.HELLO, greeting())

    def ask(self, kind: int, payload: bytes = b"") -> tuple[int, dict[str, Any]]:
        """One request and its answer."""
        self.number += 1
        self.board.incoming += b"\0" + frame.encode(kind, self.number, payload)
        drain(self.app)
        turn(self.app, 3)
        data, at = self.board.taken(), 0
        while at < len(data):
            result, at = self.decoder.feed(data, at, len(data))
            if (
                result == frame.FRAME
                and self.decoder.sequence == self.number
                and self.decoder.kind < codes.LIVE
            ):
                return self.decoder.kind, layout.unpack(
                    messages.payload_of(self.decoder.kind), bytes(self.decoder.payload)
                )
        raise AssertionError("no answer")

    def press(self, button: int, times: int = 1) -> None:
        """A button down for a tenth of a second, and up again."""
        for _ in range(times):
            for word in (buttons.KEY_LOW | button, buttons.KEY_LOW):
                self.board.switches = word
                turn(self.app, 12)

    def wait(self, seconds: float) -> None:
        turn(self.app, round(seconds * 100))

    def shown(self) -> str:
        """All texts of the screen that is due."""
        more = self.app.interface.view._more(screen_of(self.app))
        return " ".join(
            filled(text, self.app, more)
            for table in turns(screen_of(self.app))
            for _place, _style, text in table
        )

    def waiting(self) -> str:
        return str(codes.word_of(enumerations.WAITINGS, self.ask(codes.WAITING)[1]["waiting"]))

    def send(self, issue: int, **changed: Any) -> int:
        kind, values = self.ask(
            codes.PROFILE_PUT,
            base_profile({"wheel_id": WHEEL, "revision": issue, "issue": issue, **changed}),
        )
        return int(values["code"])


@pytest.fixture
def inflator() -> Iterator[Inflator]:
    yield Inflator()
