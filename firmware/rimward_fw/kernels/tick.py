"""One tick, every 2 ms in the hard timer interrupt: sense, decide, drive, record. No bytecode, no allocation, no waiting.

On the chip `interrupt` is compiled as one viper function with everything here copied into it; only the two
kernels stay calls. Blocks of registers and arrays come through a context: on the chip an int32 array of their
addresses, elsewhere a list of arrays, so that the same plumbing runs on CPython.

Age of a sample when the guard sees it: A at most one tick (its conversion and transfer start in one tick and are
read in the next), B and supply at most 0.8 ms (four samples of each, by DMA, at 5 kHz). Arming's horizon holds one
tick for this.

Ring: 512 entries of eight words, 1.024 s; `rimward_protocol.kernel_words.RING_WORDS` gives their content.
"""

from rimward_protocol.compat import const, ptr16, ptr32

from rimward_fw.kernels.order import couple

# Context.
_G = const(0)
_X = const(1)
_F = const(2)
_Y = const(3)
_TICK = const(4)  # this module's own words
_RING = const(5)
_SIO = const(6)
_ADC = const(7)  # 16 samples of 16 bits, channels 0, 1, 2, 4 in turn
_DMA = const(8)
_SPI = const(9)
_CLOCK = const(10)

# Registers (RP2040 datasheet 2.3.1.7, 2.5.7, 4.4.4, 4.6.5): words from the start of each block.
_GPIO_IN = const(1)
_OUT_SET = const(5)
_OUT_CLR = const(6)
_OUT_XOR = const(7)
_DMA_COUNT = const(2)
_SPI_DATA = const(2)
_SPI_STATUS = const(3)
_NOT_EMPTY = const(4)

# Guard inputs x.
_A = const(0)
_B = const(1)
_SW = const(2)
_LOAD = const(3)
_GAP = const(4)
_SUPPLY = const(5)

# Guard and fill state.
_FA = const(8)
_FB = const(9)
_F_STATE = const(0)
_F_TYRE = const(2)

# Own words t.
_HEAD = const(0)
_SLOT = const(1)
_VALUE = const(2)
_ANSWERS = const(3)
_OUT = const(4)
_HALT = const(5)
_LOAD_US = const(6)
_BEGAN_US = const(7)
_LOAD_MAX = const(8)
_SUPPLY_F = const(9)
_PUMP = const(10)
_CHIP = const(11)
_DMA_LEFT = const(12)
_LEASED = const(13)
_LEASE = const(14)
_DOWN = const(15)
_LOCKOUT = const(16)
_HELD = const(17)
_PRESS_UP = const(18)
_PRESS_DOWN = const(19)
_PRESS_ENTER = const(20)
_PRESS_WORKSHOP = const(21)
_LONG_COUNT = const(22)
_LONG_BITS = const(23)
_PIN_RUN = const(24)
_PIN_KEY_LOW = const(25)
_PIN_KEY_HIGH = const(26)
_PIN_CUTOFF = const(27)
_PIN_UP = const(28)
_PIN_DOWN = const(29)
_PIN_ENTER = const(30)
_PIN_WORKSHOP = const(31)
_PIN_GATE = const(32)
_PIN_RELAY = const(33)
_PIN_VENT = const(34)
_PIN_CS = const(35)
_SUPPLY_GAIN = const(36)

# Switch bits.
_S_RUN = const(1)
_S_KEY_LOW = const(2)
_S_KEY_HIGH = const(4)
_S_CUTOFF = const(8)
_S_UP = const(512)
_S_DOWN = const(1024)
_S_ENTER = const(2048)
_S_WORKSHOP = const(4096)
_S_BEAT = const(16384)
_S_HELD = const(32768)
_BUTTONS = const(0x1E00)

# Output bits: the guard's, the fill controller's shifted by 8.
_O_GATE = const(1)
_O_RELAY = const(2)
_O_VENT = const(0x204)

_FIRST_Y = const(64)  # slot numbers from here on name fill inputs
_HEAD_MASK = const(0x3FFFFFFF)
_RING_MASK = const(511)
_CODES_MIN = const(256)  # smallest supply sum that a ratio is taken of
_RATIO_MAX = const(65535)
_BYTE_MAX = const(255)
_LOCKOUT_TICKS = const(60)  # longer than a bounce, shorter than two deliberate presses
_LONG_TICKS = const(750)


def sense(x: ptr32, t: ptr32, sio: ptr32, adc: ptr16, dma: ptr32, spi: ptr32):
    """Read converters and switches into the fast words of `x`. Nothing is waited for; what is missing reads 0, a sensor fault."""
    x[_A] = spi[_SPI_DATA] & 0xFFFF if spi[_SPI_STATUS] & _NOT_EMPTY != 0 else 0
    sio[_OUT_SET] = t[_PIN_CS]  # starts the conversion that `drive` fetches
    b = adc[0] + adc[4] + adc[8] + adc[12]
    supply = adc[1] + adc[5] + adc[9] + adc[13]
    t[_PUMP] = adc[2] + adc[6] + adc[10] + adc[14]
    t[_CHIP] = adc[3] + adc[7] + adc[11] + adc[15]
    left = dma[_DMA_COUNT]
    if left == t[_DMA_LEFT]:
        b = 0
        supply = 0
    t[_DMA_LEFT] = left
    t[_SUPPLY_F] = t[_SUPPLY_F] + (((supply << 4) - t[_SUPPLY_F]) >> 2)
    whole = t[_SUPPLY_F] >> 4
    ratio = (b << 16) // (whole if whole > _CODES_MIN else _CODES_MIN)
    x[_B] = ratio if ratio < _RATIO_MAX else _RATIO_MAX
    units = (supply * t[_SUPPLY_GAIN] + 0x80000) >> 20
    x[_SUPPLY] = units if units < _BYTE_MAX else _BYTE_MAX
    x[_SW] = switches(sio[_GPIO_IN], t)


def switches(levels: int, t: ptr32) -> int:
    """Return the switch word from one read of all pins."""
    word = 0
    if levels & t[_PIN_RUN] != 0:
        word = _S_RUN
    if levels & t[_PIN_KEY_LOW] != 0:
        word = word | _S_KEY_LOW
    if levels & t[_PIN_KEY_HIGH] != 0:
        word = word | _S_KEY_HIGH
    if levels & t[_PIN_CUTOFF] == 0:
        word = word | _S_CUTOFF
    if levels & t[_PIN_UP] != 0:
        word = word | _S_UP
    if levels & t[_PIN_DOWN] != 0:
        word = word | _S_DOWN
    if levels & t[_PIN_ENTER] != 0:
        word = word | _S_ENTER
    if levels & t[_PIN_WORKSHOP] != 0:
        word = word | _S_WORKSHOP
    return word


def latch(x: ptr32, t: ptr32):
    """Count button presses, so that none is lost while the main loop writes."""
    now = x[_SW] & _BUTTONS
    if t[_LOCKOUT] > 0:
        t[_LOCKOUT] = t[_LOCKOUT] - 1
    if now != t[_DOWN] and t[_LOCKOUT] == 0:
        fresh = now & (now ^ t[_DOWN])
        t[_DOWN] = now
        t[_LOCKOUT] = _LOCKOUT_TICKS
        t[_HELD] = 0
        if fresh & _S_UP != 0:
            t[_PRESS_UP] = t[_PRESS_UP] + 1
        if fresh & _S_DOWN != 0:
            t[_PRESS_DOWN] = t[_PRESS_DOWN] + 1
        if fresh & _S_ENTER != 0:
            t[_PRESS_ENTER] = t[_PRESS_ENTER] + 1
        if fresh & _S_WORKSHOP != 0:
            t[_PRESS_WORKSHOP] = t[_PRESS_WORKSHOP] + 1
    elif now != 0 and now == t[_DOWN] and t[_HELD] < _LONG_TICKS:
        t[_HELD] = t[_HELD] + 1
        if t[_HELD] == _LONG_TICKS:
            t[_LONG_COUNT] = t[_LONG_COUNT] + 1
            t[_LONG_BITS] = now


def lease(x: ptr32, t: ptr32):
    """On a proof bench the run control counts only while the host's lease lasts."""
    if t[_LEASED] != 0:
        word = x[_SW]
        if word & _S_RUN != 0:
            word = word | _S_HELD
        if t[_LEASE] > 0:
            t[_LEASE] = t[_LEASE] - 1
            word = word | _S_BEAT
        elif word & _S_RUN != 0:
            word = word - _S_RUN
        x[_SW] = word


def keep(ring: ptr32, g: ptr32, x: ptr32, f: ptr32, t: ptr32):
    """Put this tick into the ring and take the slow word that the main loop handed in out of its slot."""
    at = (t[_HEAD] & _RING_MASK) << 3
    ring[at] = x[_A] | t[_SLOT] << 16
    ring[at + 1] = x[_B] | x[_SUPPLY] << 16
    ring[at + 2] = x[_SW] | x[_LOAD] << 16
    ring[at + 3] = x[_GAP] | t[_OUT] << 8
    ring[at + 4] = t[_VALUE]
    ring[at + 5] = f[_F_TYRE]
    ring[at + 6] = g[_FA] >> 4 | f[_F_STATE] << 22
    ring[at + 7] = g[_FB] >> 4
    t[_SLOT] = 0
    t[_HEAD] = (t[_HEAD] + 1) & _HEAD_MASK
    if x[_LOAD] > t[_LOAD_MAX]:
        t[_LOAD_MAX] = x[_LOAD]


def decide(guard, fill, c: ptr32):
    """Everything between sensing and driving: answers, lease, buttons, the slow word, both kernels, the ring."""
    g = ptr32(c[_G])
    x = ptr32(c[_X])
    f = ptr32(c[_F])
    y = ptr32(c[_Y])
    t = ptr32(c[_TICK])
    latch(x, t)
    lease(x, t)
    x[_SW] = x[_SW] | t[_ANSWERS]
    slot = t[_SLOT]
    if slot >= _FIRST_Y:
        y[slot - _FIRST_Y] = t[_VALUE]
    elif slot != 0:
        x[slot] = t[_VALUE]
    t[_OUT] = couple(guard, fill, g, x, f, y)
    keep(ptr32(c[_RING]), g, x, f, t)


def drive(t: ptr32, sio: ptr32, spi: ptr32):
    """Set the pins, switching off before on, and fetch the conversion. GATE toggles once a tick while its bit is set; steady, it stops the air."""
    out = t[_OUT]
    clear = t[_PIN_CS]
    on = 0
    if out & _O_RELAY != 0:
        on = t[_PIN_RELAY]
    else:
        clear = clear | t[_PIN_RELAY]
    if out & _O_VENT != 0:
        clear = clear | t[_PIN_VENT]
    else:
        on = on | t[_PIN_VENT]
    sio[_OUT_CLR] = clear
    sio[_OUT_SET] = on
    if out & _O_GATE != 0:
        sio[_OUT_XOR] = t[_PIN_GATE]
    spi[_SPI_DATA] = 0xFFFF


def step(guard, fill, c: ptr32):
    """Run one whole tick over the blocks of context `c`. `guard`, `fill`: step functions of the kernels."""
    x = ptr32(c[_X])
    t = ptr32(c[_TICK])
    sio = ptr32(c[_SIO])
    spi = ptr32(c[_SPI])
    clock = ptr32(c[_CLOCK])
    if t[_HALT] != 0:
        sio[_OUT_CLR] = t[_PIN_RELAY] | t[_PIN_VENT]
    else:
        now = clock[0] & _HEAD_MASK
        load = (t[_LOAD_US] + 127) >> 7
        gap = (((now - t[_BEGAN_US]) & _HEAD_MASK) + 64) >> 7
        t[_BEGAN_US] = now
        x[_LOAD] = load if load < _BYTE_MAX else _BYTE_MAX
        x[_GAP] = gap if gap < _BYTE_MAX else _BYTE_MAX
        sense(x, t, sio, ptr16(c[_ADC]), ptr32(c[_DMA]), spi)
        decide(guard, fill, c)
        drive(t, sio, spi)
        t[_LOAD_US] = ((clock[0] & _HEAD_MASK) - now) & _HEAD_MASK


def bind(guard, fill, c):
    """Set what `interrupt` works on: the two step functions and the context. Once, before the timer starts."""
    global _guard, _fill, _context
    _guard = guard
    _fill = fill
    _context = c


def interrupt(_timer):
    """Hard timer callback on the chip."""
    guard = _guard  # one global load each: they cost 5 us
    fill = _fill
    step(guard, fill, ptr32(_context))
