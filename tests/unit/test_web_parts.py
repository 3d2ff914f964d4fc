"""Parts of the workshop page that need neither a browser nor an inflator: door, hold, ring, forms."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest
from rimward.base.errors import Refusal
from rimward.web import ask
from rimward.web.door import BODY_BYTES, AccessMiddleware, TooLarge
from rimward.web.hold import GRACE_S, Hold
from rimward.web.limit_page import ride_of
from rimward.web.live import both, kept, shown
from rimward.web.ring import COLUMNS, Ring
from rimward_protocol import codes

HOST = "127.0.0.1:8477"
TOKEN = "t" * 32


def request(
    method: str = "GET",
    path: str = "/wheel",
    kind: str = "http",
    query: bytes = b"",
    **headers: str,
) -> dict:
    named = {
        "host": HOST,
        "cookie": f"rimward-8477={TOKEN}",
        **{k.replace("_", "-"): v for k, v in headers.items()},
    }
    return {
        "type": kind,
        "method": method,
        "path": path,
        "query_string": query,
        "headers": [(k.encode(), v.encode()) for k, v in named.items() if v],
    }


OURS = {"origin": f"http://{HOST}", "x_rimward_token": TOKEN}


@pytest.mark.parametrize(
    ("scope", "status"),
    [
        (request(), None),
        (request("POST", **OURS), None),
        (request(kind="websocket", origin=f"http://{HOST}"), None),
        (request(host="evil.example"), 421),
        (request(host="127.0.0.1"), 421),
        (request(host=""), 421),
        (request(cookie=""), 403),
        (request(cookie="rimward-8477=wrong"), 403),
        (request(origin="http://evil.example"), 403),
        (request(origin="null"), 403),
        (request("POST", x_rimward_token=TOKEN), 403),
        (request("POST", origin=f"http://{HOST}"), 403),
        (request("POST", **{**OURS, "x_rimward_token": "wrong"}), 403),
        (request("POST", **OURS, content_length=str(BODY_BYTES + 1)), 413),
        (request("POST", **OURS, content_length="-1"), 413),
        (request("DELETE"), 403),
        (request("GET", "/", query=b"token=wrong", cookie=""), 403),
        (request(kind="websocket"), 403),
        (request(kind="websocket", origin="http://evil.example"), 403),
    ],
)
def test_requests_are_admitted_by_host_origin_and_token(scope: dict, status: int | None) -> None:
    answer = AccessMiddleware(None, [HOST], TOKEN).find_refusal(scope)  # type: ignore[arg-type]
    assert (answer.status_code if answer else None) == status


def test_the_token_is_changed_into_a_cookie_that_scripts_cannot_read() -> None:
    answer = AccessMiddleware(None, [HOST], TOKEN).find_refusal(
        request("GET", "/", query=f"token={TOKEN}".encode(), cookie="")
    )  # type: ignore[arg-type]
    assert answer is not None and answer.status_code == 303
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie


def test_a_body_without_a_length_is_counted() -> None:
    async def app(_scope, receive, _send) -> None:
        while (await receive()).get("more_body"):
            pass

    async def body() -> dict:
        return {"type": "http.request", "body": b"x" * 10_000, "more_body": True}

    door = AccessMiddleware(app, [HOST], TOKEN)
    with (
        ThreadPoolExecutor(1) as apart,
        pytest.raises(TooLarge),
    ):  # a browser's own loop may have this thread
        apart.submit(lambda: asyncio.run(door(request("POST", **OURS), body, None))).result()  # type: ignore[arg-type]


def test_one_page_holds() -> None:
    now = [100.0]
    hold = Hold(lambda: now[0])
    token = hold.take("a", "Maren Holt")
    with pytest.raises(Refusal, match="Maren Holt"):
        hold.take("b", "Tove")
    hold.check(token)
    for wrong in ("", "x", token[:-1]):
        with pytest.raises(Refusal):
            hold.check(wrong)
    assert not hold.present(token, "b"), (
        "a copied token does not move the hold while its page is open"
    )
    hold.left("b")
    assert not hold.present(token, "b")
    hold.left("a")
    assert hold.present(token, "c"), "a reload takes it along"
    hold.left("a")
    now[0] += GRACE_S + 1
    assert hold.held, "the old page's line ending late does not end the new page's hold"
    hold.left("c")
    now[0] += GRACE_S + 1
    assert not hold.held and not hold.present(token, "d")
    with pytest.raises(Refusal):
        hold.check(token)
    other = hold.take("d", "")
    hold.give(token)
    assert hold.held
    hold.give(other)
    assert not hold.held


def test_samples_are_numbered_without_a_gap_and_memory_stays() -> None:
    ring = Ring(8)
    ring.add([(i,) * len(COLUMNS) for i in range(5)])
    assert ring.since(0) == (0, 0, [[i] * len(COLUMNS) for i in range(5)])
    assert ring.since(3)[0::2] == (3, [[3] * len(COLUMNS), [4] * len(COLUMNS)])
    assert ring.since(-2)[0] == 3 and ring.since(99) == (5, 0, [])
    ring.add([(i,) * len(COLUMNS) for i in range(5, 20)])
    first, gone, rows = ring.since(5)
    assert (first, gone, [row[0] for row in rows]) == (12, 7, list(range(12, 20))), (
        "what is gone is told"
    )
    assert ring.last() == dict.fromkeys(COLUMNS, 19) and ring._rows.shape[0] == 8


def test_a_tyre_behind_a_closed_core_is_a_range_while_it_rests() -> None:
    row = [0, 0, 390_000, 0, codes.FILL_DONE, 447_000, 437_000, 390_000]
    assert shown(row, True)["tyre_between"] == "3.65 and 4.06 bar (52.9 and 58.9 psi)"
    assert shown(row, True)["tyre"] == shown(row)["tyre"] and shown(row)["tyre_between"] is None
    row[4] = codes.FILLING
    assert shown(row, True)["tyre_between"] is None


def test_a_reading_over_the_ceiling_is_shown_over_it() -> None:
    row = [0, 447_001, 446_000, 1, 6, 447_000, 437_000, 390_000]
    told = shown(row)
    assert told["over"] and told["reading"] == ["4.48", "64.9"] and told["tyre"] == ["4.46", "64.7"]
    row[1] = 447_000
    assert not shown(row)["over"] and shown(row)["reading"] == ["4.47", "64.8"]
    assert shown([0, 0, -1, 0, 0, 0, 0, 0])["tyre"] is None and both("3.90 bar (56.5 psi)") == [
        "3.90",
        "56.5",
    ]


def test_numbers_of_a_form() -> None:
    form = {"fill_temp": "18,5", "ride_temp_max": "−3", "fill_altitude": ""}
    place, ride = ask.conditions(form)
    assert place.temp_ck == 29165 and ride.temp_max_ck == 27015 and place.altitude_m == 0.0
    for name, bad in (
        ("fill_temp", "warm"),
        ("fill_temp", "nan"),
        ("ride_temp_max", "1000"),
        ("fill_altitude", "inf"),
        ("fill_altitude", "9001"),
    ):
        with pytest.raises(Refusal, match="no number|not understood"):
            ask.conditions({name: bad})


def test_what_cannot_be_read_is_a_refusal_of_the_answer() -> None:
    found = ask.assessment({"rim": "622x23TSS", "tyre": "28-622", "rim_max": "5"}, None)
    assert found.ceiling_pa is None and found.refusals[0].id == "unit-missing"
    found = ask.assessment({"rim": "622x23TSS", "tyre": "28-622", "approved": "maybe"}, None)
    assert found.ceiling_pa is None and "approved" in found.refusals[0].text


def test_the_page_states_the_same_ceiling_as_the_command() -> None:
    from rimward.cli.commands.ceiling import find

    form = {"rim": "622x23TSS", "rim_max": "5 bar", "tyre": "28-622", "tyre_range": "4-6 bar", "approved": "yes", "fill_temp": "18", "fill_altitude": "200",
            "ride_altitude_max": "2400", "ride_temp_max": "45"}  # fmt: skip
    told = find(
        rim="622x23TSS", rim_max="5 bar", tyre="28-622", tyre_range="4-6 bar", tyre_min=None, tyre_max=None, approved="yes", bead="unknown", air="tube",
        fill_temp=18.0, fill_altitude=200.0, tyre_temp=None, ride_altitude_max=2400.0, ride_temp_min=None, ride_temp_max=45.0, ride_route=None,
    )  # fmt: skip
    assert ask.assessment(form, None).ceiling_pa == told.ceiling_pa == 427_000


def test_other_addresses_need_an_explicit_choice(tmp_path, monkeypatch) -> None:
    from rimward.web.serve import Server

    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path))
    for host in ("0.0.0.0", "192.0.2.7", "::"):
        with pytest.raises(Refusal, match="other computers"):
            Server(host=host)


def test_the_limit_page_begins_with_the_last_ride_and_never_with_its_temperature_or_target() -> (
    None
):
    entry = {
        "fill_ck": 29115,
        "fill_altitude_m": 200.0,
        "ride_altitude_max_m": 1200.0,
        "ride_temp_max_ck": 31315,
        "ride_temp_min_ck": None,
        "target_pa": 390000,
    }
    wheel = SimpleNamespace(values={"profile": {**entry, "held_at_fill": False, "made": ""}})
    assert ride_of(wheel) == {
        "fill_altitude": "200",
        "ride_altitude_max": "1200",
        "ride_temp_max": "40",
    }
    assert ride_of(SimpleNamespace(values={})) == {}


def test_a_kept_fill_says_what_its_tyre_holds_once_cold() -> None:
    row = {
        "name": "n",
        "session": 1,
        "label": "Larkspur",
        "cause": "target-reached",
        "wheel_id": "00",
        "unix_s": 1,
        "added_s": 1,
        "tyre_pa": 420_000,
        "ceiling_pa": 447_000,
        "target_pa": 390_000,
    }
    told = kept({**row, "cold_pa": 389_500})
    assert (
        told is not None
        and told["tyre_both"] == ["4.20", "60.9"]
        and told["cold_both"] == ["3.90", "56.5"]
    )
    assert (kept(row) or {})["cold_both"] is None, "a record that does not say it"
