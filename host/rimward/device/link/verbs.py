"""Operations on a connected inflator: send and list profiles, read its state, pull sessions."""

import hashlib
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from rimward_protocol import causes, codes, enumerations, replies
from rimward_protocol import preset as preset_check
from rimward_protocol import profile as check

from rimward.base.errors import Refusal
from rimward.base.instrument import Instrument, instrument_of
from rimward.device.link.client import Client
from rimward.formats import records

NOBODY = bytes(8)
# fill states in which the guard's cause for "no request for air" would read as target reached, although it is not yet
ON_THE_WAY = (
    "self-test",
    "purge",
    "measuring",
    "filling",
    "seat-pause",
    "settling",
    "probing",
    "topping-up",
    "bleeding",
    "seating",
)
GUARD_SETTING = 3
CLOCK_SET = 16  # flag of HELLO_IS
SAME_BYTES = 64  # header of a session, which names inflator, start and number
STILL_S, WRITE_STEP_S = 3.0, 0.2
CONFIRM_S, CONFIRM_STEP_S = 70.0, 0.1  # the inflator times out after a minute
CONFIRM = "The inflator's display names this request: press its workshop button there, or DOWN to decline."
Tell = Callable[[str], None]


def is_bench(client: Client) -> bool:
    """Return True for a proof bench, which accepts bench profiles only."""
    return bool(client.about["flags"] & 2)


def tell_time(client: Client) -> None:
    """Set the clock of an inflator that has lost it: without a date no calibration ever becomes overdue."""
    if not client.about["flags"] & CLOCK_SET:
        client.request(codes.TIME, unix_s=int(time.time()), zone_min=0)


def send_profile(client: Client, data: bytes) -> dict[str, Any]:
    """Send a profile; done only when the digest of the stored bytes matches. Refusal otherwise."""
    bench = is_bench(client)
    code = check.check_profile(data, bench)
    if code:
        raise records.refusal_of(code)
    answer = client.request(codes.PROFILE_PUT, profile=data)
    wanted = hashlib.sha256(data).digest()
    if answer["sha256"] != wanted:
        raise Refusal(
            "The inflator stored other bytes than were sent; the old profile stays in force.",
            "Send it again; check the cable.",
        )
    return {
        "wheel_id": records.unpack_profile(data, bench)["wheel_id"].hex(),
        "revision": records.unpack_profile(data, bench)["revision"],
        "slot": answer["slot"],
        "sha256": wanted.hex(),
        "waiting_for_person": answer["code"] == replies.WAITING_FOR_PERSON,
    }


def send_preset(client: Client, data: bytes) -> dict[str, Any]:
    """Send a tagged preset; done only when the digest of the stored bytes matches. Refusal otherwise."""
    code = preset_check.check_preset(data)
    if code:
        raise records.refusal_of(code)
    wanted = hashlib.sha256(data).digest()
    if client.request(codes.PRESET_PUT, preset=data)["sha256"] != wanted:
        raise Refusal(
            "The inflator stored other bytes than were sent; an earlier preset stays in force.",
            "Send it again; check the cable.",
        )
    fields = records.unpack_preset(data)
    return {
        "preset_id": fields["preset_id"].hex(),
        "issue": fields["issue"],
        "sha256": wanted.hex(),
    }


def list_presets(client: Client) -> list[dict[str, Any]]:
    """Every stored preset: its bytes, and whether its tag fits the key in force there."""
    return [
        {"data": answer["preset"], "tag_fits": bool(answer["flags"] & 1)}
        for _, answer in each(client, codes.PRESET_LIST)
        if answer["preset"]
    ]


def each(client: Client, message: int) -> Iterator[tuple[int, dict[str, Any]]]:
    """Yield (index, answer) of every row of one of the inflator's lists."""
    index, count = 0, 1
    while index < count:
        answer = client.request(message, index=index)
        count = answer["count"]
        yield index, answer
        index += 1


def list_profiles(client: Client) -> list[dict[str, Any]]:
    """Every stored profile with its flags; damaged ones are included and marked."""
    rows = []
    for index, answer in each(client, codes.PROFILE_LIST):
        if answer["profile"]:
            flags = answer["flags"]
            row: dict[str, Any] = {
                "index": index,
                "confirmed": bool(flags & 2),
                "tag_fits": bool(flags & 1),
                "chosen": bool(flags & 4),
            }
            row["data"] = answer["profile"]
            code = check.check_profile(answer["profile"], is_bench(client))
            row["intact"] = code == 0
            if code == 0:
                row["profile"] = records.unpack_profile(answer["profile"], is_bench(client))
            rows.append(row)
    return rows


def delete_profile(client: Client, words: str, tell: Tell | None = None) -> dict[str, Any]:
    """Delete a wheel's profile from the inflator after a person there has confirmed it. `words`: id, its beginning, or label. Refusal
    otherwise.
    """
    rows = [row for row in list_profiles(client) if row["intact"]]
    wanted = words.strip().lower()
    exact = [
        row
        for row in rows
        if wanted in (row["profile"]["wheel_id"].hex(), row["profile"]["label"].lower())
    ]
    found = exact or [
        row
        for row in rows
        if len(wanted) >= 4 and row["profile"]["wheel_id"].hex().startswith(wanted)
    ]
    if len(found) != 1:
        text = (
            f"{len(found)} profiles there match '{words}'."
            if found
            else f"The inflator stores no profile '{words}'."
        )
        raise Refusal(text, "Use the id shown by `rimward profile list`.")
    row = found[0]["profile"]
    if (
        client.request(codes.PROFILE_DELETE, wheel_id=row["wheel_id"])["code"]
        == replies.WAITING_FOR_PERSON
    ):
        await_person(client, codes.WAIT_DELETE, tell)
    if any(kept["data"] == found[0]["data"] for kept in list_profiles(client)):
        raise declined()
    return {
        "wheel_id": row["wheel_id"].hex(),
        "label": row["label"],
        "revision": row["revision"],
        "deleted": True,
    }


def choose_wheel(client: Client, wheel_id: bytes = NOBODY) -> bool:
    """Select the wheel on the hose; True if the inflator now waits for the person's answer."""
    return bool(
        client.request(codes.SELECT, wheel_id=wheel_id)["code"] == replies.WAITING_FOR_PERSON
    )


def enrol_key(client: Client, key: bytes, tell: Tell | None = None) -> None:
    """Send a workshop key to the inflator, where a person confirms it. Done only when the inflator's digest of it matches."""
    if client.request(codes.KEY_ENROL, key=key)["code"] == replies.WAITING_FOR_PERSON:
        await_person(client, codes.WAIT_ENROL, tell)
    if held_key(client) != hashlib.sha256(key).digest()[:8]:
        raise declined()


def held_key(client: Client) -> bytes | None:
    """First 8 bytes of SHA-256 over an inflator's key; None without one."""
    check = bytes(client.request(codes.KEY_ASK)["check"])
    return check if any(check) else None


def put_setting(client: Client, number: int, value: bytes, tell: Tell | None = None) -> int:
    """Store a setting; a person confirms it there where required. Return its revision; Refusal if it reads back differently."""
    answer = client.request(codes.SETTING_PUT, number=number, value=value)
    if answer.get("code") == replies.WAITING_FOR_PERSON:
        await_person(client, codes.WAIT_SET, tell)
        answer = client.request(codes.SETTING_GET, number=number)
    if answer["value"] != value:
        raise declined()
    return int(answer["revision"])


def await_person(client: Client, what: int, tell: Tell | None = None) -> None:
    """Wait until the inflator no longer asks for confirmation of this request; the caller then reads the result."""
    (tell or say_nothing)(CONFIRM)
    until = client.transport.now_s() + CONFIRM_S
    while client.request(codes.WAITING)["waiting"] == what:
        if client.transport.now_s() > until:
            raise declined()
        client.wait(CONFIRM_STEP_S)


def say_nothing(_text: str) -> None:
    """Ignore a progress message."""


def declined() -> Refusal:
    """Return the Refusal for a request that was not confirmed, or that the inflator could not store."""
    return records.refusal_of(replies.DECLINED)


def status(client: Client) -> dict[str, Any]:
    """STATUS_IS with words beside the numbers. `tyre_pa` is None while the tyre's pressure is unknown."""
    return status_row(client.request(codes.STATUS))


def status_row(raw: dict[str, Any]) -> dict[str, Any]:
    """Fields of STATUS_IS with words beside the numbers. `pressure_open`: the chosen wheel's chuck is; False from firmware that does
    not say so.
    """
    row = dict(raw)
    row["out"] = raw["out"] & ~codes.STATUS_PRESSURE_OPEN
    row["pressure_open"] = bool(raw["out"] & codes.STATUS_PRESSURE_OPEN)
    row["state"] = codes.word_of(enumerations.FILL_STATES, raw["state"])
    row["range"] = codes.word_of(enumerations.RANGES, raw["range"])
    row["waiting"] = codes.word_of(enumerations.WAITINGS, raw["waiting"])
    row["wheel_id"] = raw["wheel_id"].hex()
    row["tyre_pa"] = None if raw["tyre_pa"] < 0 else raw["tyre_pa"]
    row.update(cause_words(raw["cause"], "cause"))
    pausing = raw["stop_cause"] == causes.TARGET_REACHED and row["state"] in ON_THE_WAY
    row.update(cause_words(0 if pausing else raw["stop_cause"], "stop_cause"))
    return row


def instrument(client: Client) -> Instrument:
    """Calibration of the connected inflator, today."""
    return instrument_of(client.request(codes.SETTING_GET, number=GUARD_SETTING)["value"])


def cause_words(number: int, key: str) -> dict[str, Any]:
    """Return a cause's word, likely reason and next step."""
    _number, word, reason, step = causes.row_of(number)
    return {key: word, f"{key}_reason": reason, f"{key}_next": step}


def list_sessions(client: Client) -> list[dict[str, Any]]:
    """Return the stored sessions, newest first."""
    rows = []
    for _, answer in each(client, codes.SESSION_LIST):
        if answer["session"]:
            row = {name: answer[name] for name in ("session", "bytes", "unix_s")}
            row["cause"] = cause_words(answer["cause"], "cause")["cause"]
            row["ended"] = bool(answer["flags"] & 1)
            row["wheel_id"] = answer["wheel_id"].hex()
            rows.append(row)
    return rows


def find_session(client: Client, number: int = 0) -> dict[str, Any]:
    """Row of a stored session, 0 for the newest. Refusal without one."""
    rows = [row for row in list_sessions(client) if number in (0, row["session"])]
    if not rows:
        text = (
            f"The inflator has no session {number}." if number else "The inflator has no session."
        )
        raise Refusal(text, "List them with `rimward session pull --list`.")
    return rows[0]


def written_session(client: Client, number: int = 0) -> dict[str, Any]:
    """Wait until a session is written, some seconds after a fill, and return its row; 0 for the newest.

    One that has not grown for `STILL_S` is returned as it is: a fill is under way, or a reset has cut it off.
    """
    row = find_session(client, number)
    grew = client.transport.now_s()
    while (
        not row["ended"]
        and not status(client)["ceiling_pa"]
        and client.transport.now_s() - grew < STILL_S
    ):
        client.wait(WRITE_STEP_S)
        now = find_session(client, row["session"])
        grew = client.transport.now_s() if now["bytes"] > row["bytes"] else grew
        row = now
    return row


def session_file_name(client: Client, row: dict[str, Any]) -> str:
    """File name from inflator and session."""
    return f"session-{device_name(client)}-{row['session']}.rws"


def device_name(client: Client) -> str:
    """Id of the inflator for file names."""
    raw = bytes(client.about["device_id"])
    text = raw.rstrip(b"\0").decode("ascii", "replace")
    return text if text.isalnum() else raw.hex()


def pull_session(
    client: Client, number: int, to: Path, progress: Callable[[int, int], None] | None = None
) -> dict[str, Any]:
    """Copy a session into `to` (0: the newest). An interrupted copy leaves a part file and continues it next time.

    A part file of another record under the same name is not continued: its beginning is compared first.
    """
    row = written_session(client, number)
    size = row["bytes"]
    part = to.with_name(f"{to.name}.{device_name(client)}-{row['session']}.part")
    try:
        with part.open("ab+") as file:
            have = _kept(client, row, file)

            def sink(data: bytes) -> None:
                nonlocal have
                file.write(data)
                have += len(data)
                if progress is not None:
                    progress(have, size)

            if have < size:
                client.pull(row["session"], have, size, sink)
        part.replace(to)
    except OSError as failed:
        raise Refusal(
            f"{to} cannot be written: {failed.strerror}.",
            "Free space or choose another place; the bytes received are kept.",
        ) from failed
    return row


def _kept(client: Client, row: dict[str, Any], file: Any) -> int:
    """Return the number of bytes of a part file to keep; the rest is cut off."""
    have = min(file.tell(), row["bytes"])
    same = min(have, SAME_BYTES)
    file.seek(0)
    if same and b"".join(client_bytes(client, row["session"], same)) != file.read(same):
        have = 0
    file.truncate(have)
    file.seek(have)
    return int(have)


def client_bytes(client: Client, session: int, count: int) -> list[bytes]:
    """Read the first bytes of a stored session."""
    pieces: list[bytes] = []
    client.pull(session, 0, count, pieces.append)
    return pieces
