"""Power cuts on a small flash: synced blocks of a session survive the restart, however much room it needs."""

import pytest

from tests.faults import powercut

# A store with wheels, settings and trips in a few blocks; then a session is written and synced piece by piece until flash is full, and the power
# is cut in one operation after the other of the last pieces and of the restart.
ATTACK = """
import json
from rimward_protocol import replies
from tests.faults import cutactions
bench = cutrun.Bench({blocks})
bench.format()
def prepare(store, boots):
    store.profile_put(cutactions.profile_of(cutactions.WHEELS[0], 5), True)
    store.setting_put(3, bytes(8))
    store.trip_add(cutactions.trip(1))
    cutactions.open_session(store, 4)
    return 0
bench.use(prepare)
safe = []
def write(store, boots):
    number = 1
    for i in range(4, 40):
        store.make_way(number, 500)
        if store.session_append(number, cutactions.block(number, i)) != replies.OK or store.session_sync() != replies.OK:
            return 0
        safe.append((number, i + 1, len(bench.flash.ops)))
    return 0
image = bytes(bench.flash.data)
bench.flash.load(image)
bench.use(write)
written, kept = len(bench.flash.ops), list(safe)
lost, cuts = [], 0
def restart(store, boots):
    return {{n: store.session_about(n)["bytes"] for n in store.session_list()}}
for op in range({first}, written, {step}):
    for how in ("before", "noise", "after"):
        bench.flash.load(image)
        bench.flash.cut(op, how)
        bench.use(write)
        for start in range(3):
            bench.flash.again()
            found = bench.use(restart)
        cuts += 1
        number, blocks = max([(n, b) for n, b, ops in kept if ops <= op] + [(kept[0][0], 4)])
        if found.get(number, 0) < blocks * 472:
            lost.append([op, how, number, blocks, found.get(number, 0)])
print(json.dumps([cuts, written, len(kept), lost]))
"""


@pytest.mark.parametrize("blocks", [25, 26, 27])
def test_a_synced_session_outlives_the_restart(blocks: int) -> None:
    [[cuts, written, pieces, lost]] = powercut.on_device(
        ATTACK.format(blocks=blocks, first=blocks % 3, step=11), 120
    )
    assert cuts >= 30 and pieces >= 3, (cuts, written, pieces)
    assert lost == []
