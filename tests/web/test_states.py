"""Every state that the fill page can show, light and dark: axe without findings, what counts in view, nothing wider than the page.

The line is the real one; what the inflator's status says is replaced on its way to the page, so that rare states need no rare events:
fifteen states in one browser, beside an inflator that does nothing.
"""

import json
from typing import Any

from playwright.sync_api import Browser, Page, WebSocketRoute, expect
from rimward.web import far
from rimward.web.far import act
from rimward.web.live import MEANINGS, WAITINGS
from rimward.web.serve import Server
from rimward_protocol import reasons

from tests.web.conftest import open_page
from tests.web.shop import SOON_MS
from tests.web.test_instrument import look, sideways
from tests.web.test_looks import WIDTHS, axe

IN_FORCE = {
    "ceiling": "4.47 bar (64.8 psi)", "stop": "4.37 bar (63.3 psi)", "target": "3.90 bar (56.5 psi)",
    "ceiling_pa": 447_000, "stop_pa": 437_000, "target_pa": 390_000,
}  # fmt: skip
NONE_IN_FORCE = {name: 0 if name.endswith("_pa") else "" for name in IN_FORCE}
PHONE = (360, 640)
FRESH = [20, 20]  # milliseconds, however busy the machine is
LONGEST = max(reasons.rows(), key=lambda row: len(row[2]) + len(row[3]))


def status(
    state: str,
    waiting: str = "nothing",
    cause: tuple[Any, ...] | None = None,
    latched: bool = False,
    force: bool = True,
) -> dict[str, Any]:
    """Status of one state."""
    shown = {
        "state": state, "means": MEANINGS[state], "waiting": waiting, "waiting_means": WAITINGS[waiting] if waiting != "nothing" else "", "latched": latched,
        "cause": cause[1] if cause else "none", "reason": cause[2] if cause else "", "next": cause[3] if cause else "", **(IN_FORCE if force else NONE_IN_FORCE),
    }  # fmt: skip
    return {**shown, "act": act(shown)}


def cause(word: str) -> tuple[Any, ...]:
    return next(row for row in reasons.rows() if row[1] == word)


STATES: dict[str, tuple[dict[str, Any], str]] = {
    "idle": (status("idle", force=False), "idle"),
    "asked": (status("asking", "new-wheel", force=False), "asking"),
    "looser": (status("asking", "looser-limits", force=False), "asking"),
    "armed": (status("ready", "hold-to-run"), "ready"),
    "self-test": (status("self-test"), "self test"),
    "filling": (status("filling"), "filling"),
    "pause": (status("seat-pause", "bead-seated"), "check bead"),
    "question": (status("asking", "which-wheel"), "asking"),
    "settling": (status("settling"), "settling"),
    "done": (status("done", cause=cause("target-reached"), force=False), "done"),
    "stopped": (status("stopped", cause=cause("hose-or-tyre"), force=False), "stopped"),
    "stopped, longest": (status("stopped", cause=LONGEST, force=False), "stopped"),
    "latched": (status("tripped", "clear", cause=LONGEST, latched=True, force=False), "tripped"),
}


class Line:
    """The page's line with a status of our own."""

    def __init__(self, page: Page) -> None:
        self.over: dict[str, Any] | None = None
        self.ages: list[int] | None = None
        self.last: dict[str, Any] = {}
        self.lost = False
        self.page = page
        page.route_web_socket("**/live", self._join)

    def _join(self, route: WebSocketRoute) -> None:
        self.route = route
        route.connect_to_server().on_message(lambda text: route.send(self._changed(text)))

    def _changed(self, text: str | bytes) -> str:
        said = json.loads(text)
        if said.get("state"):
            self.last = said["state"]
            said["state"] = self._state()
        if "ages" in said:
            said["ages"] = self.ages or FRESH
        return json.dumps(said)

    def _state(self) -> dict[str, Any]:
        if self.lost:
            return {
                **self.last,
                "line": "lost",
                "why": "The line to the inflator was lost.",
                "status": None,
            }
        held = self.last["status"]
        return {**self.last, "status": held and {**held, **(self.over or {})}}

    def show(
        self, over: dict[str, Any] | None = None, ages: list[int] | None = None, lost: bool = False
    ) -> None:
        """From now on the page is given this status, with these ages, or a lost line."""
        self.over, self.ages, self.lost = over, ages, lost
        self.route.send(json.dumps({"state": self._state(), "ages": ages or FRESH}))


def judged(page: Page, name: str) -> None:
    """Axe in both schemes, and no sideways scroll at any width."""
    assert axe(page) == [], name
    page.emulate_media(color_scheme="dark")
    assert axe(page, "color-contrast") == [], (name, "dark")
    page.emulate_media(color_scheme="light")
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 640})
        assert sideways(page) <= 0, (name, width)


def on_a_phone(page: Page, line: Line) -> None:
    """Every question and every cause, latched as well: on the first screen of a phone and large enough."""
    waits = {word: status("asking", word) for word in far.WAITINGS}
    ends = {
        f"{row[1]}{', latched' if latched else ''}": status(state, cause=row, latched=latched)
        for row in reasons.rows()[1:]
        for state, latched in (("stopped", False), ("tripped", True))
    }
    page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
    for name, over in (waits | ends).items():
        line.show(over)
        expect(page.locator("#act")).to_have_text("".join(over["act"]), timeout=SOON_MS)
        look(page, name, [PHONE])


def test_every_state_light_and_dark(chromium: Browser, server: Server) -> None:
    page = open_page(
        chromium, server, bypass_csp=True, reduced_motion="reduce"
    )  # axe is put in from outside, colours change at once
    line = Line(page)
    page.goto(f"{server.address.split('/?')[0]}/fill")
    expect(page.locator(".fill-page")).to_have_attribute("data-line", "on", timeout=SOON_MS)
    page.wait_for_function(
        "() => document.querySelector('.fill-page').dataset.known === 'yes'", timeout=SOON_MS
    )
    for name, (over, word) in STATES.items():
        line.show(over)
        expect(page.locator("#state")).to_have_text(word, timeout=SOON_MS)
        if name != "idle":
            look(page, name)
        judged(page, name)
        asks = name in ("asked", "looser", "pause", "question")
        expect(page.locator("#next-word")).to_have_text(
            "Question" if asks else "Next", timeout=SOON_MS
        )
        expect(page.locator("#cause-box")).to_be_visible(
            visible=name.startswith("stopped") or name == "latched", timeout=SOON_MS
        )
    on_a_phone(page, line)
    line.show(STATES["filling"][0], ages=[4000, 4000])
    expect(page.locator("#state")).to_have_text("no news", timeout=SOON_MS)
    expect(page.locator("#stale")).to_contain_text("it was filling")
    look(page, "old value")
    judged(page, "old value")
    line.show(lost=True)
    expect(page.locator("#state")).to_have_text("line lost", timeout=SOON_MS)
    expect(page.locator("#next")).to_contain_text("Let go of the run control")
    look(page, "lost link")
    judged(page, "lost link")
    assert page.wrongs == []  # type: ignore[attr-defined]
    page.context.close()


def test_while_it_settles_page_and_display_ask_for_the_same() -> None:
    """The display says `keep holding RUN` while the reading settles; the page must not say anything else."""
    from importlib.resources import files

    from rimward_fw.ui.screens import turns

    assert all(
        any("keep holding RUN" in text for _place, _style, text in table)
        for table in turns("settle")
    )
    script = (files("rimward.web") / "static" / "fill.js").read_text(encoding="utf-8")
    assert "'keep holding the run control: no air flows while it settles'" in script
