"""The workshop key: kept private, rotated without forgetting, taken over whole or not at all."""

import json
import os
import stat

import keyring
import keyring.errors
import pytest
from rimward import keys
from rimward.errors import Refusal
from rimward_protocol.mac import tag16

from tests.unit.shopdesk import desk  # noqa: F401

PHRASE = "a long walk home"


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("RIMWARD_KEYSTORE", "file")
    return tmp_path


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
    """Puts a backend in the system keyring's place."""

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


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"keys": [{"key": "00", "made": "x"}]}', '{"keys": [{"key": "zz", "made": "x"}]}', '{"keys": 3}'])
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
    assert len(ring.keys) == 12 and keys.which_key(ring, body, keys.tag_of(first.key, body)) == first, "records of years ago need theirs"


def test_the_tag_is_the_one_the_device_works_out():
    key, body = bytes(range(32)), bytes(range(92))
    assert keys.tag_of(key, body) == tag16(key, body)


def test_an_export_is_private_whole_and_never_overwrites(tmp_path):
    key = keys.new().current
    target = tmp_path / "spare.json"
    with pytest.raises(Refusal, match="at least 8"):
        keys.export(target, phrase="short")
    keys.export(target, phrase=PHRASE)
    assert mode(target) == 0o600 and key.key.hex() not in target.read_text() and PHRASE not in target.read_text()
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
    assert keys.take_over(tmp_path / "spare.json", phrase=PHRASE).current == key == keys.load().current
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


def test_a_bench_key_is_another_key():
    assert keys.new("bench").current.key != keys.new("workshop").current.key


def test_a_usable_keyring_holds_the_key_and_no_file_does(with_keyring):
    backend = with_keyring(Remembers())
    ring = keys.new()
    assert ring.kept_in == "system keyring" and ring.current.key.hex() in backend.held["rimward", "workshop"]
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
        patch.setattr(os, "replace", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device")))
        with pytest.raises(Refusal, match="No space left"):
            keys.rotate()
    assert keys.load().keys == (first,)
    assert [p.name for p in keys.file_of("workshop").parent.iterdir()] == ["workshop.json"]


def test_the_commands_never_print_a_key(desk, tmp_path, monkeypatch):  # noqa: F811
    monkeypatch.setenv("RIMWARD_PASSPHRASE", PHRASE)
    desk.json("key", "new")
    secret = keys.load().current.key.hex()
    printed = desk.out
    for words in (("show",), ("rotate",), ("export", tmp_path / "k.json"), ("import", tmp_path / "k.json")):
        assert desk("key", *words) == 0, desk.err
        printed += desk.out + desk.err
    assert PHRASE not in printed and secret not in printed and keys.load().current.key.hex() not in printed
    assert desk("key", "new") == 1 and "rotate" in desk.err
    assert len(desk.json("key", "show")["keys"]) == 2
