"""Riders' presets on the inflator: stored whole, newer ones only, runs counted."""

from pathlib import Path

import pytest
from rimward_fw.storage import presets
from rimward_fw.storage.store import Store
from rimward_protocol import layout, preset, replies

PRESET = {
    "issue": 10, "preset_id": b"preset01", "rider": b"Ida", "flags": 1, "temp_max_ck": 31315, "ambient_min_pa": 80000, "front_wheel": b"wheel001",
    "front_issue": 5, "front_target_pa": 380000, "rear_wheel": b"wheel002", "rear_issue": 6, "rear_target_pa": 400000, "made_days": 2500,
}  # fmt: skip


def made(**changed: object) -> bytes:
    return preset.tag_preset(bytes(32), layout.seal_preset({**PRESET, **changed}))


def opened(folder: Path) -> Store:
    store = Store(str(folder), lambda: False)
    store.boot()
    return store


def test_a_preset_comes_back_as_it_was_stored(tmp_path: Path) -> None:
    store, data = opened(tmp_path), made()
    code, digest = store.presets.put(data)
    assert (code, len(digest)) == (replies.OK, 32)
    for one in (store, opened(tmp_path)):
        assert one.presets.list() == [b"preset01"] and one.presets.get(b"preset01") == data
    assert store.presets.get(b"preset02") is None


def test_only_a_newer_one_replaces_it(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store.presets.put(made())
    assert store.presets.put(made(issue=9)) == (replies.ISSUE_NOT_NEWER, b"")
    assert store.presets.put(made(rear_target_pa=410000)) == (replies.ISSUE_NOT_NEWER, b"")
    assert store.presets.put(made())[0] == replies.OK, "the same one again"
    assert store.presets.put(made(issue=11, rear_target_pa=410000))[0] == replies.OK
    assert store.presets.get(b"preset01") == made(issue=11, rear_target_pa=410000)


def test_runs_are_counted_over_restarts_and_newer_presets(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store.presets.put(made())
    assert [store.presets.run(b"preset01"), store.presets.run(b"preset01")] == [1, 2]
    again = opened(tmp_path)
    again.presets.put(made(issue=12))
    assert again.presets.run(b"preset01") == 3 and again.presets.run(b"preset09") == 0


def test_a_deleted_preset_is_gone(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store.presets.put(made())
    assert store.presets.delete(b"preset01") == replies.OK and opened(tmp_path).presets.list() == []
    assert store.presets.delete(b"preset01") == replies.NOT_FOUND


def test_no_more_presets_than_fit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(presets, "PRESETS_MAX", 1)
    store = opened(tmp_path)
    store.presets.put(made())
    assert store.presets.put(made(preset_id=b"preset02")) == (replies.STORE_FULL, b"")
