"""The workshop key: kept private, rotated with earlier keys kept, imported whole or not at all."""

import hashlib
import hmac
import json
import os
import stat

import keyring
import keyring.errors
import pytest
from rimward.base.errors import Refusal
from rimward.wheels import keys
from rimward.wheels.keys import Key
from rimward_protocol import codes
from rimward_protocol.mac import tag16

PHRASE = "a long walk home"
TOO_SHORT = (("", "0 letters"), ("a", r"1 letter\."), ("12", "2 letters"), ("1234567", "7 letters"))
COST = dict(keys.SCRYPT)  # as shipped


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("RIMWARD_KEYSTORE", "file")
    monkeypatch.setitem(keys.SCRYPT, "n", 2**8)  # a guess costs little here
    return tmp_path


def test_a_guess_of_the_passphrase_costs_32_megabytes():
    assert 128 * COST["n"] * COST["r"] * COST["p"] >= 32 * 2**20


class Remembers:
    """A working keyring in memory. No subclass of KeyringBackend: keyring would find it and give it to every later test."""

    priority = 5

    def __init__(self):
        self.held = {}

    def get_password(self, service, username):
        return self.held.get((service, username))

    def set_password(self, service, username, password):
        self.held[service, username] = password


class Locked(Remembers):
    def get_password(self, service, username):
        raise keyring.errors.KeyringLocked("locked")


@pytest.fixture
def with_keyring(monkeypatch):
    """Replace the system keyring by a backend."""

    def use(backend):
        monkeypatch.delenv("RIMWARD_KEYSTORE")
        monkeypatch.setattr(keyring, "get_keyring", lambda: backend)
        return backend

    return use


def mode(path):
    return stat.S_IMODE(path.stat().st_mode)


def test_a_new_key_is_32_random_bytes_in_a_private_file():
    first = keys.new().current
    path = keys.file_of("workshop")
    assert len(first.key) == 32 and mode(path) == 0o600 and mode(path.parent) == 0o700
    path.unlink()
    assert keys.new().current.key != first.key


def test_a_second_new_key_is_refused_and_the_first_stays():
    first = keys.new().current
    with pytest.raises(Refusal, match="rotate"):
        keys.new()
    assert keys.load().current == first


def test_no_key_says_how_to_make_one():
    with pytest.raises(Refusal, match="rimward key new"):
        _ = keys.load().current


@pytest.mark.parametrize("bits", [0o640, 0o604, 0o620, 0o660, 0o644])
def test_a_key_file_that_others_can_reach_is_refused(bits):
    keys.new()
    keys.file_of("workshop").chmod(bits)
    with pytest.raises(Refusal, match="chmod 600"):
        keys.load()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{}",
        "[]",
        '{"keys": [{"key": "00", "made": "x"}]}',
        '{"keys": [{"key": "zz", "made": "x"}]}',
        '{"keys": 3}',
    ],
)
def test_a_damaged_key_file_is_refused_and_left_alone(text):
    keys.new()
    path = keys.file_of("workshop")
    path.write_text(text)
    with pytest.raises(Refusal, match="key import"):
        keys.load()
    with pytest.raises(Refusal):
        keys.rotate()
    assert path.read_text() == text


def test_rotating_keeps_earlier_keys_to_recognise_their_tags():
    first = keys.new().current
    ring = keys.rotate()
    body = b"profile bytes"
    assert ring.current.key != first.key
    assert keys.which_key(ring, body, keys.tag_of(first.key, body)) == first
    assert keys.which_key(ring, body, keys.tag_of(bytes(32), body)) is None
    for _ in range(10):
        ring = keys.rotate()
    assert (
        len(ring.keys) == 12 and keys.which_key(ring, body, keys.tag_of(first.key, body)) == first
    ), "records of years ago need theirs"


def test_the_tag_is_the_one_the_device_works_out():
    key, body = bytes(range(32)), bytes(range(92))
    assert keys.tag_of(key, body) == tag16(key, body)


def test_an_export_is_private_whole_and_never_overwrites(tmp_path):
    key = keys.new().current
    target = tmp_path / "spare.json"
    with pytest.raises(Refusal, match="at least 8"):
        keys.export(target, phrase="short")
    keys.export(target, phrase=PHRASE)
    assert (
        mode(target) == 0o600
        and key.key.hex() not in target.read_text()
        and PHRASE not in target.read_text()
    )
    with pytest.raises(Refusal, match="exists"):
        keys.export(target, phrase=PHRASE)
    with pytest.raises(Refusal, match="does not open"):
        keys.take_over(target, phrase=PHRASE + "r")


def test_an_exported_key_is_taken_over_before_the_others(tmp_path, monkeypatch):
    theirs = keys.new().current
    keys.export(tmp_path / "spare.json", phrase=PHRASE)
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "second"))
    ours = keys.new().current
    ring = keys.take_over(tmp_path / "spare.json", phrase=PHRASE)
    assert [k.key for k in ring.keys] == [theirs.key, ours.key]
    assert keys.take_over(tmp_path / "spare.json", phrase=PHRASE).keys == ring.keys


@pytest.mark.parametrize("change", [
    {"secret": "00" * 32}, {"secret": None}, {"form": "other"}, {"form": "rimward-key-1"}, {"purpose": "bench"}, {"key_id": "00000000"}, {"salt": "00" * 16}, {"salt": 1},
])  # fmt: skip
def test_an_altered_export_is_refused_and_changes_nothing(tmp_path, change):
    keys.new()
    target = tmp_path / "spare.json"
    keys.export(target, phrase=PHRASE)
    before = keys.load()
    target.write_text(json.dumps({**json.loads(target.read_text()), **change}))
    with pytest.raises(Refusal):
        keys.take_over(target, phrase=PHRASE)
    assert keys.load() == before


@pytest.mark.parametrize("left", ["{", "", '{"keys": [{"key": "00", "made": ""}]}', '{"keys": 3}'])
def test_a_damaged_ring_is_set_aside_and_replaced_by_an_exported_copy(tmp_path, left):
    key = keys.new().current
    keys.export(tmp_path / "spare.json", phrase=PHRASE)
    path = keys.file_of("workshop")
    path.write_text(left)
    with pytest.raises(keys.Damaged, match="key import"):
        keys.load()
    assert (
        keys.take_over(tmp_path / "spare.json", phrase=PHRASE).current == key == keys.load().current
    )
    aside = [p for p in path.parent.iterdir() if "damaged" in p.name]
    assert len(aside) == 1 and aside[0].read_text() == left and mode(aside[0]) == 0o600


def test_the_key_folder_itself_must_be_private():
    keys.new()
    folder = keys.file_of("workshop").parent
    folder.chmod(0o755)
    with pytest.raises(Refusal, match="chmod 700"):
        keys.load()
    folder.chmod(0o700)
    assert keys.load().current


def test_issue_numbers_grow_by_themselves_and_above_what_was_used():
    key = keys.new().current
    first = keys.next_issue(key)
    assert first > 3_000_000 and keys.next_issue(key) == first + 1
    assert keys.next_issue(key, before=first + 100) == first + 101
    other = keys.rotate().current
    assert keys.next_issue(other) == first + 102, "another key goes on from there"


def test_a_bench_key_differs_from_the_workshop_key():
    assert keys.new("bench").current.key != keys.new("workshop").current.key


def test_a_usable_keyring_holds_the_key_and_no_file_does(with_keyring):
    backend = with_keyring(Remembers())
    ring = keys.new()
    assert (
        ring.kept_in == "system keyring"
        and ring.current.key.hex() in backend.held["rimward", "workshop"]
    )
    assert not keys.file_of("workshop").exists()
    assert keys.rotate().keys[1] == ring.current


def test_a_key_file_from_before_is_used_when_the_keyring_is_empty(with_keyring):
    first = keys.new().current
    backend = with_keyring(Remembers())
    ring = keys.load()
    assert ring.current == first and ring.kept_in == "file" and not backend.held


def test_a_keyring_that_keeps_nothing_is_not_used(with_keyring):
    class Null(Remembers):
        priority = 0

    backend = with_keyring(Null())
    assert keys.new().kept_in == "file" and not backend.held


def test_a_locked_keyring_is_one_line(with_keyring):
    with_keyring(Locked())
    with pytest.raises(Refusal, match="RIMWARD_KEYSTORE=file"):
        keys.load()


def test_a_failed_write_leaves_the_old_key_and_nothing_aside(tmp_path):
    first = keys.new().current
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            os, "replace", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device"))
        )
        with pytest.raises(Refusal, match="No space left"):
            keys.rotate()
    assert keys.load().keys == (first,)
    assert [p.name for p in keys.file_of("workshop").parent.iterdir()] == ["workshop.json"]


def test_the_commands_never_print_a_key(desk, tmp_path, monkeypatch):
    monkeypatch.setenv("RIMWARD_PASSPHRASE", PHRASE)
    desk.json("key", "new")
    secret = keys.load().current.key.hex()
    printed = desk.out
    for words in (
        ("show",),
        ("rotate",),
        ("export", tmp_path / "k.json"),
        ("import", tmp_path / "k.json"),
    ):
        assert desk("key", *words) == 0, desk.err
        printed += desk.out + desk.err
    assert (
        PHRASE not in printed
        and secret not in printed
        and keys.load().current.key.hex() not in printed
    )
    assert desk("key", "new") == 1 and "rotate" in desk.err
    assert len(desk.json("key", "show")["keys"]) == 2


def test_the_largest_issue_number_is_used_and_none_above_it():
    key = keys.new().current
    assert keys.next_issue(key, codes.ISSUE_MAX - 1) == codes.ISSUE_MAX
    with pytest.raises(Refusal, match="used up"):
        keys.next_issue(key, codes.ISSUE_MAX)


def test_a_keyring_that_does_not_say_how_good_it_is_is_not_used(with_keyring):
    with_keyring(object())
    assert keys.usable_keyring() is None


def test_what_an_exported_key_costs_to_guess():
    assert COST == {"n": 32_768, "r": 8, "p": 1} and keys.PHRASE_LETTERS == 8


def test_a_key_is_on_the_disk_before_it_takes_the_old_one_s_place(monkeypatch):
    """A power cut leaves the old ring or the new one, never an empty file."""
    keys.new()
    steps = []
    sync, replace = os.fsync, os.replace

    def synced(handle):
        steps.append(("synced", os.fstat(handle).st_size))
        sync(handle)

    def replaced(aside, path):
        steps.append(("replaced", aside.read_bytes()))
        replace(aside, path)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(os, "replace", replaced)
    keys.rotate()
    whole = keys.file_of("workshop").read_bytes()
    assert steps == [("synced", len(whole)), ("replaced", whole)] and len(keys.load().keys) == 2


def test_a_key_is_named_by_eight_digits_and_checked_by_eight_bytes():
    key = Key(bytes(range(32)), "2026-01-01")
    assert key.check == hashlib.sha256(bytes(range(32))).digest()[:8]
    named = hmac.new(bytes(range(32)), b"rimward key id", hashlib.sha256).hexdigest()
    assert key.key_id == named[:8] and len(keys.tag_of(key.key, b"x")) == 16


def test_an_export_can_be_read_by_people_and_has_its_own_salt(tmp_path):
    key = keys.new().current
    for name in ("one.json", "two.json"):
        assert keys.export(tmp_path / name, phrase="8letters") == key
    one, two = ((tmp_path / name).read_text() for name in ("one.json", "two.json"))
    held = json.loads(one)
    assert one == json.dumps(held, indent=2) + "\n" and len(bytes.fromhex(held["salt"])) == 16
    assert held["salt"] != json.loads(two)["salt"] and held["key_id"] == key.key_id
    assert keys.is_protected(tmp_path / "one.json")


@pytest.mark.parametrize(("phrase", "words"), TOO_SHORT)
def test_too_short_a_passphrase_says_how_short(tmp_path, phrase, words):
    keys.new()
    with pytest.raises(Refusal, match=words):
        keys.export(tmp_path / "spare.json", phrase=phrase)
    assert not (tmp_path / "spare.json").exists()


def test_an_unprotected_export_of_an_earlier_version_is_taken(tmp_path):
    theirs = Key(bytes(range(32)), "2024-05-06")
    path = tmp_path / "old.json"
    plain = {
        "form": "rimward-key-1", "purpose": "workshop", "key_id": theirs.key_id, "key": theirs.key.hex(), "made": theirs.made,
    }  # fmt: skip
    path.write_text(json.dumps(plain))
    assert not keys.is_protected(path) and not keys.is_protected(tmp_path / "none.json")
    assert keys.take_over(path).current == theirs
    for wrong in ({"key": theirs.key[:-1].hex()}, {"key_id": "00000000"}):
        path.write_text(json.dumps(plain | wrong))
        with pytest.raises(Refusal, match="is damaged"):
            keys.take_over(path)


@pytest.mark.parametrize(("bits", "readable"), [(0o600, False), (0o640, True), (0o601, True)])
def test_an_export_that_others_can_read_is_noticed(tmp_path, bits, readable):
    path = tmp_path / "spare.json"
    path.write_text("{}")
    path.chmod(bits)
    assert keys.readable_by_others(path) is readable


def test_a_keyring_of_the_least_use_is_used(with_keyring):
    backend = with_keyring(Remembers())
    backend.priority = 1
    assert keys.usable_keyring() is backend
    backend.priority = 0
    assert keys.usable_keyring() is None


def test_a_damaged_ring_in_the_keyring_is_kept_under_another_name(with_keyring, tmp_path):
    backend = with_keyring(Remembers())
    key = keys.new().current
    keys.export(tmp_path / "spare.json", phrase=PHRASE)
    backend.held["rimward", "workshop"] = "{"
    with pytest.raises(keys.Damaged, match="system keyring"):
        keys.load()
    ring = keys.take_over(tmp_path / "spare.json", phrase=PHRASE)
    assert (ring.keys, ring.kept_in) == ((key,), "system keyring")
    aside = {name: text for (_service, name), text in backend.held.items() if "damaged" in name}
    assert list(aside.values()) == ["{"] and all(n.startswith("workshop-") for n in aside)


def test_a_damaged_counter_of_issues_starts_from_the_clock():
    key = keys.new().current
    first = keys.next_issue(key)
    path = keys.file_of("workshop").with_name("issues.json")
    assert json.loads(path.read_text()) == {key.key_id: first}
    path.write_text("[1")
    path.chmod(0o600)
    assert first <= keys.next_issue(key) <= first + 1
