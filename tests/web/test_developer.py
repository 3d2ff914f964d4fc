"""The developer: `rimward serve` as a process, its door, its live line and its addresses."""

import asyncio
import json
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest
import websockets
from websockets.asyncio.client import connect

from tests.web.conftest import Bench


@pytest.fixture(scope="module")
def own_bench() -> Iterator[Bench]:
    """An inflator for the command alone: a port has one user."""
    made = Bench()
    yield made
    made.close()


@pytest.fixture(scope="module")
def served(data, own_bench: Bench) -> Iterator[dict]:
    """The command as a developer starts it: the address comes as one JSON document."""
    words = [
        sys.executable,
        "-m",
        "rimward",
        "serve",
        "--json",
        "--listen",
        "0",
        "--port",
        own_bench.port,
    ]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
    assert process.stdout
    text = ""
    while not text.rstrip().endswith("}"):
        text += process.stdout.readline()
    told = json.loads(text)
    yield {
        **told,
        "base": told["address"].split("/?")[0],
        "token": told["address"].split("token=")[1],
    }
    process.terminate()
    assert process.wait(15) == 0  # ended on purpose


@pytest.fixture
def inside(served: dict) -> Iterator[httpx.Client]:
    """A client that has come in by the address."""
    with httpx.Client(
        base_url=served["base"],
        headers={"Origin": served["base"], "X-Rimward-Token": served["token"]},
    ) as client:
        until = time.monotonic() + 60
        while True:
            try:
                assert client.get("/", params={"token": served["token"]}).status_code == 303
                break
            except httpx.ConnectError:
                assert time.monotonic() < until
                time.sleep(0.1)
        yield client


def test_it_listens_on_this_computer_only(served: dict) -> None:
    assert served["host"] == "127.0.0.1" and served["base"].startswith("http://127.0.0.1:")
    done = subprocess.run(
        [sys.executable, "-m", "rimward", "serve", "--host", "0.0.0.0"],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert (
        done.returncode == 1 and "other computers" in done.stderr and "Traceback" not in done.stderr
    )


def test_without_the_token_every_page_is_refused(inside: httpx.Client, served: dict) -> None:
    for path in ("/wheel", "/fill", "/log", "/ride", "/static/fill.js", "/fill/look"):
        assert httpx.get(served["base"] + path).status_code == 403
    assert httpx.get(served["base"] + "/?token=" + "x" * 32).status_code == 403
    assert inside.get("/wheel").status_code == 200


def test_other_hosts_and_origins_are_refused(inside: httpx.Client, served: dict) -> None:
    assert inside.get("/wheel", headers={"Host": "wheels.example:80"}).status_code == 421
    for origin in (
        "http://wheels.example",
        "null",
        served["base"].replace("http", "https"),
        served["base"] + "0",
    ):
        assert inside.get("/wheel", headers={"Origin": origin}).status_code == 403
        assert (
            inside.post("/fill/take", data={"page": "x"}, headers={"Origin": origin}).status_code
            == 403
        )


def test_changes_need_origin_and_token(inside: httpx.Client) -> None:
    for missing in ("Origin", "X-Rimward-Token"):
        headers = {
            name: value for name, value in inside.headers.items() if name.lower() != missing.lower()
        }
        with httpx.Client(
            base_url=inside.base_url, cookies=inside.cookies, headers=headers
        ) as other:
            assert other.post("/fill/take", data={"page": "x"}).status_code == 403
    assert (
        inside.post(
            "/fill/take", data={"page": "x"}, headers={"X-Rimward-Token": "wrong"}
        ).status_code
        == 403
    )
    got = inside.post("/fill/take", data={"page": "x"})
    assert got.status_code == 200
    assert inside.post("/fill/take", data={"page": "y"}).status_code == 409
    inside.post("/fill/give", data={"hold": got.json()["hold"]})


def test_bodies_are_bounded(inside: httpx.Client) -> None:
    assert inside.post("/wheel/assess", data={"rim": "x" * 70_000}).status_code == 413
    chunks = (b"x" * 8192 for _ in range(20))  # no Content-Length
    assert inside.post(
        "/wheel/assess",
        content=chunks,
        headers={"Content-Type": "application/x-www-form-urlencoded"},
    ).status_code in (400, 413)
    big = {"session": ("s.rws", b"\0" * 33_000_000)}
    assert inside.post("/log/upload", files=big).status_code == 413
    junk = inside.post("/log/upload", files={"session": ("s.rws", b"no session at all")})
    assert junk.status_code == 409 and "not a session" in junk.json()["refused"]
    assert inside.post(
        "/log/upload", files={"session": ("a", b"1"), "more": ("b", b"2")}
    ).status_code in (400, 409)
    assert (
        inside.post(
            "/wheel/read-tag", files={"photo": ("t.png", b"\x89PNG not really")}
        ).status_code
        == 409
    )


def test_addresses_that_are_none(inside: httpx.Client) -> None:
    for path in (
        "/log/..%2f..%2fetc%2fpasswd",
        "/log/x-000001-00000000",
        "/wheel/0123456789abcdef",
        "/static/../app.py",
        "/log/a/file.exe",
    ):
        answer = inside.get(path, headers={"Accept": "text/html"})
        assert answer.status_code in (404, 409), path
        assert "Traceback" not in answer.text
    assert (
        inside.post("/fill/send", data={"wheel_id": "0123456789abcdef", "hold": "x"}).status_code
        == 409
    )
    assert inside.post("/fill/use", data={"port": "/dev/null"}).status_code == 409


def test_headers_keep_pages_to_themselves(inside: httpx.Client) -> None:
    page = inside.get("/fill")
    policy = page.headers["content-security-policy"]
    assert (
        "default-src 'self'" in policy
        and "unsafe" not in policy
        and "frame-ancestors 'none'" in policy
    )
    assert (
        page.headers["cache-control"] == "no-store"
        and page.headers["x-content-type-options"] == "nosniff"
    )
    assert (
        "http://" not in page.text.replace(str(inside.base_url), "") and "https://" not in page.text
    )


def test_no_request_starts_the_air(inside: httpx.Client) -> None:
    from rimward.web.app import routes
    from rimward_protocol import enumerations

    asks = {row[1] for row in enumerations.MESSAGES if row[0] < 0x40}
    assert not any(word in name for name in asks for word in ("START", "RUN", "PUMP", "AIR"))
    posts = sorted(
        route.path for route in routes() if "POST" in (getattr(route, "methods", None) or ())
    )  # type: ignore[attr-defined]
    assert posts == [
        "/bench/begin", "/bench/call-off", "/bench/plan", "/bench/{name}/finish",
        "/fill/enrol", "/fill/give", "/fill/send", "/fill/take", "/fill/use", "/limit/{wheel_id}/assess", "/log/upload", "/log/{name}/air-by-hand",
        "/ride/cartridge", "/ride/curve", "/setup/key", "/setup/settings", "/setup/source",
        "/wheel/assess", "/wheel/read-tag", "/wheel/save", "/wheel/{wheel_id}/profile", "/wheel/{wheel_id}/retire",
    ]  # fmt: skip


def test_the_live_line_gives_every_sample_in_few_messages(
    inside: httpx.Client, served: dict
) -> None:
    with ThreadPoolExecutor(1) as apart:  # the browser's own loop has this thread

        def listen(seconds: float, ask: dict) -> tuple[list[int], int, float, str]:
            return apart.submit(lambda: asyncio.run(_listen(served, inside, seconds, ask))).result(
                60
            )

        numbers, messages, seconds, run = listen(2.5, {"page": "a", "since": -1})
        assert numbers == list(range(numbers[0], numbers[0] + len(numbers))), "no gap, none twice"
        assert messages / seconds <= 20.5
        again, *_rest = listen(0.5, {"page": "a", "since": numbers[-1] + 1, "run": run})
        assert again[0] == numbers[-1] + 1, "a page that comes back gets what it missed"


async def _listen(
    served: dict, inside: httpx.Client, seconds: float, ask: dict
) -> tuple[list[int], int, float, str]:
    cookie = "; ".join(f"{name}={value}" for name, value in inside.cookies.items())
    address = served["base"].replace("http", "ws") + "/live"
    with pytest.raises(websockets.exceptions.InvalidStatus):
        await connect(
            address, additional_headers={"Cookie": cookie}, origin="http://wheels.example"
        ).__aenter__()  # type: ignore[arg-type]
    with pytest.raises(websockets.exceptions.InvalidStatus):
        await connect(address, origin=served["base"]).__aenter__()
    numbers: list[int] = []
    async with connect(
        address, additional_headers={"Cookie": cookie}, origin=served["base"], max_size=8_000_000
    ) as line:
        await line.send(json.dumps(ask))
        run = json.loads(await line.recv())["run"]
        begin, messages = time.monotonic(), 0
        while (
            time.monotonic() - begin < seconds or not numbers
        ):  # a busy machine may say nothing for so long
            said = json.loads(await asyncio.wait_for(line.recv(), 10))
            messages += 1
            assert not said.get("gone")
            if "rows" in said:
                numbers += range(said["first"], said["first"] + len(said["rows"]))
        return numbers, messages, time.monotonic() - begin, run
