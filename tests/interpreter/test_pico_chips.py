"""Barometer and display on the Pico's buses: there, gone, back, another chip; never a wait without end."""


def test_the_barometer_may_be_lost_and_return(pico):
    out = pico(
        """
board = pico.Board()
clock = 0
def wait(ms):
    global clock
    for n in range(ms // 10):
        clock += 10
        board.barometer.work(clock)
wait(3000); print("absent", board.ambient_pa, board.air_ck)
WORLD.devices[(0, 0x76)] = chip = chips.Barometer()
wait(3000); print("there", board.ambient_pa, board.air_ck)
chip.registers[0xF4] = 0; chip.registers[0xF7:0xFD] = b"\\x80\\0\\0\\x80\\0\\0"
wait(1000); print("restarted", board.ambient_pa)
wait(3000); print("set up again", board.ambient_pa)
one = WORLD.devices.pop((0, 0x76))
wait(250); print("silent", board.ambient_pa, board.barometer.errors > 5)
WORLD.devices[(0, 0x76)] = one
reads = one.reads
wait(400); print("again", board.ambient_pa, one.reads > reads)
del WORLD.devices[(0, 0x76)]
wait(1200); print("fresh still", board.ambient_pa)
wait(600); print("gone", board.ambient_pa)
WORLD.devices[(0, 0x76)] = chips.Barometer(chip=0x55)
wait(3000); print("another chip", board.ambient_pa)
WORLD.devices[(0, 0x76)] = chips.Barometer(calibration=bytes(24))
wait(3000); print("blank", board.ambient_pa)
WORLD.devices[(0, 0x76)] = chips.Barometer(data=b"\\0\\0\\0\\0\\0\\0")
wait(3000); print("no sense", board.ambient_pa)
WORLD.devices[(0, 0x76)] = chips.Barometer()
wait(3000); print("back", board.ambient_pa)
"""
    )
    assert out == [
        "absent 0 0",
        "there 100653 29823",
        "restarted 100653",
        "set up again 100653",
        "silent 100653 True",
        "again 100653 True",
        "fresh still 100653",
        "gone 0",
        "another chip 0",
        "blank 0",
        "no sense 0",
        "back 100653",
    ]


def test_display_gets_what_changed_in_short_slices(pico):
    out = pico(
        """
board = pico.Board()
WORLD.devices[(1, 0x3C)] = oled = chips.Display()
frame = bytearray(1024)
for i in range(1024): frame[i] = i * 7 & 255
board.show(frame)
longest, turns, clock = 0, 0, 0
while turns < 40:
    before = oled.bytes
    board.display.work(clock); clock += 10; turns += 1
    longest = max(longest, oled.bytes - before)
print(oled.on, oled.charged, oled.picture == frame, longest, oled.bytes)
frame[700] ^= 255
board.show(frame)
for n in range(20): board.display.work(clock)
print(oled.picture == frame, oled.bytes)
del WORLD.devices[(1, 0x3C)]
frame[3] ^= 255
board.show(frame)
board.display.work(clock); print("pulled", board.display.there)
WORLD.devices[(1, 0x3C)] = oled = chips.Display()
for n in range(400): clock += 10; board.display.work(clock)
print("back", oled.picture == frame)
"""
    )
    assert out == ["True True True 64 1024", "True 1088", "pulled False", "back True"]


def test_the_view_of_the_cutoff_comes_goes_and_comes_back(pico):
    """Words of each channel, negative ones too; fresh only after a whole round; stale 1.5 s after the last one; each step at most two transfers."""
    out = pico(
        """
board = pico.Board()
clock = 0
most = 0
def wait(ms):
    global clock, most
    for n in range(ms // 5):
        clock += 5
        before = chip.transfers
        board.view.work(clock)
        most = max(most, chip.transfers - before)
class Counted(chips.Converter):
    transfers = 0
    def write(self, data):
        self.transfers += 1
        chips.Converter.write(self, data)
    def read(self, register, count):
        self.transfers += 1
        return chips.Converter.read(self, register, count)
chip = Counted((2400, -5, 11935, 18603))
wait(1000); print("absent", board.view.fresh(clock))
WORLD.devices[(0, 0x48)] = chip
wait(100); print("not a round", board.view.fresh(clock))
wait(600); print("there", board.view.fresh(clock), list(board.view.words), most)
del WORLD.devices[(0, 0x48)]
wait(1300); print("not stale yet", board.view.fresh(clock))
wait(400); print("stale", board.view.fresh(clock))
WORLD.devices[(0, 0x48)] = chip
wait(900); print("back", board.view.fresh(clock))
"""
    )
    assert out == [
        "absent False",
        "not a round False",
        "there True [2400, -5, 11935, 18603] 2",
        "not stale yet True",
        "stale False",
        "back True",
    ]
