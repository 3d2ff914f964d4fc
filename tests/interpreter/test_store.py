"""Store and keys on MicroPython: littlefs that raises when it is written at the wrong moment, heap, and the 32-bit build."""

LOCKED = """
import vfs
from rimward_fw.control import builtin
from rimward_fw.board import simulated_flash
from rimward_fw.storage.store import Store
from rimward_protocol import layout
flash = simulated_flash.Flash(48)
vfs.VfsLfs2.mkfs(flash, progsize=256)
vfs.mount(vfs.VfsLfs2(flash, progsize=256), "/x")
enabled = False
flash.locked = lambda: enabled
def profile_of(wheel, revision):
    return layout.seal_profile(dict(builtin.BUILT_IN, wheel_id=wheel, revision=revision, issue=revision))
TRIP = {"cause": 3, "state": 6, "boot": 2, "tick": 5, "session": 1, "unix_s": 0, "value": 1}
ABOUT = {"unix_s": 1, "cause": 1, "flags": 1, "wheel_id": b"wheel001"}
def writes(store):
    return [store.profile_put(profile_of(b"wheel001", 2), True)[0], store.profile_confirm(b"wheel001"), store.setting_put(8, b"\\x02"),
        store.key_put(bytes(range(32))), store.wrong_tags_put(1, 1), store.trip_add(TRIP), store.session_append(1, bytes(5000)),
        store.session_end(1, ABOUT), store.session_delete(1), store.profile_delete(b"wheel001")]
store = Store("/x", lambda: enabled)
store.boot()
store.profile_put(profile_of(b"wheel001", 1), False)
store.session_append(1, bytes(100))
"""

REFUSED = (
    LOCKED
    + """
enabled = True
before = bytes(flash.data)
print(sorted(set(writes(store))), bytes(flash.data) == before, flash.programs > 0)
enabled = False
print(sorted(set(writes(store))), bytes(flash.data) == before)
"""
)

# the same calls to a store that does not ask: the block device must catch each of them
CAUGHT = (
    LOCKED
    + """
careless = Store("/x", lambda: False)
calls = [
    lambda: careless.profile_put(profile_of(b"wheel001", 2), True),
    lambda: careless.setting_put(8, b"\\x02"),
    lambda: careless.trip_add(TRIP),
    lambda: careless.session_append(2, bytes(5000)),
]
enabled = True
for call in calls:
    try:
        print(call())
    except RuntimeError as error:
        print(error)
"""
)

RESTARTS = """
import vfs
from rimward_fw.board import simulated_flash
from rimward_fw.storage.store import Store
for start in range(3):
    folder = simulated_flash.mount(PATH)
    store = Store(folder, lambda: False)
    print(store.boot(), store.setting_get(8))
    store.setting_put(8, bytes([start]))
    vfs.umount(folder)
"""

HEAP = """
import gc, vfs
from rimward_fw.board import simulated_flash
from rimward_fw.storage.store import Store
folder = simulated_flash.mount(None)
store = Store(folder, lambda: False)
store.boot()
block = bytes(480)
for turn in range(30):
    number = store.session_new()
    for i in range(40):
        assert store.session_append(number, block) == 0
    assert store.session_end(number, {"unix_s": 1, "cause": 1, "flags": 1, "wheel_id": b"wheel001"}) == 0
    store.setting_put(8, bytes([turn]))
    store.trip_add({"cause": 3, "state": 6, "boot": 2, "tick": turn, "session": number, "unix_s": 0, "value": 1})
    if turn in (19, 29):
        gc.collect()
        print(gc.mem_alloc())
"""

KEYS = """
from rimward_fw.control import builtin
from rimward_fw.storage import records
from rimward_fw.storage.keys import Keys
from rimward_protocol import layout, profile
class Paper:
    held = None
    def key(self): return self.held
    def key_put(self, key): self.held = key; return 0
    def wrong_tags(self): return 0, 0
    def wrong_tags_put(self, total, row): pass
class Board:
    ms = 0x3FFFFFFF - 5000
    def ticks_ms(self): return self.ms & 0x3FFFFFFF
keys = Keys(Paper(), Board())
plain = layout.seal_profile(builtin.BUILT_IN)
KEY = bytes(range(32))
print(keys.judge(plain), keys.enrol(KEY), keys.judge(profile.tag_profile(KEY, plain)), keys.judge(profile.tag_profile(bytes(range(1, 33)), plain)))
for i in range(12):
    keys.judge(profile.tag_profile(bytes(range(1, 33)), plain))
    Board.ms += 2000
print(keys.wrong, keys.wait_ms(), keys.check().hex(), keys.session_key().hex())
print(records.frame(0x3FFFFFFF, b"body").hex(), records.parse(records.frame(7, b"")), records.parse(b"RWC1" + bytes(12)))
"""


def test_a_locked_store_touches_no_flash(on_unix) -> None:
    refused, allowed = on_unix(REFUSED).splitlines()
    assert refused == "[21] True True"
    assert allowed == "[0] False"


def test_a_store_that_does_not_ask_is_caught(on_unix) -> None:
    assert on_unix(CAUGHT).splitlines() == ["flash written while the pump is enabled"] * 4


def test_a_flash_image_keeps_what_was_stored(on_unix, tmp_path) -> None:
    code = f"PATH = {str(tmp_path / 'flash')!r}\n" + RESTARTS
    once = on_unix(code).splitlines()
    again = on_unix(code).splitlines()
    assert once == ["1 (b'', 0)", "2 (b'\\x00', 1)", "3 (b'\\x01', 2)"]
    assert again[0] == "4 (b'\\x02', 3)"


def test_an_image_that_does_not_mount_is_not_formatted_over(on_unix, tmp_path) -> None:
    image = tmp_path / "flash"
    image.write_bytes(bytes(352 * 4096))
    code = (
        "from rimward_fw.board import simulated_flash\ntry:\n    simulated_flash.mount(%r)\nexcept OSError:\n    print('refused')\n"
        % str(image)
    )
    assert on_unix(code).split() == ["refused"]
    assert image.read_bytes() == bytes(352 * 4096)


def test_the_store_does_not_eat_the_heap(on_unix) -> None:
    after_20, after_30 = (int(line) for line in on_unix(HEAP).splitlines())
    assert after_30 - after_20 < 4096  # names of ten more sessions


def test_keys_and_records_on_both_builds(micropython) -> None:
    import hashlib
    import hmac

    from rimward_fw.storage import records

    key = bytes(range(32))
    judged, counted, framed = micropython(KEYS).splitlines()
    assert judged == "38 0 0 37"
    assert counted.split()[0] == "8"  # 13 wrong tags shown, 2 s apart: five came too soon
    assert counted.split()[2:] == [
        hashlib.sha256(key).hexdigest()[:16],
        hmac.new(key, b"session", hashlib.sha256).hexdigest(),
    ]
    assert framed == f"{records.frame(0x3FFFFFFF, b'body').hex()} (7, b'') None"
