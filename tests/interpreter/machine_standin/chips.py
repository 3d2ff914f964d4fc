"""Chips on the stand-in's I2C buses: the barometer with its datasheet's worked example, and a display that keeps its picture."""

CALIBRATION = bytes.fromhex("706b436718fc7d8e43d6d00b270b8c00f9ff8c3cf8c67017")
EXAMPLE = bytes.fromhex("655ac07eed00")


class Barometer:
    def __init__(self, data=EXAMPLE, chip=0x58, calibration=CALIBRATION):
        self.registers = bytearray(256)
        self.registers[0xD0] = chip
        self.registers[0x88:0xA0] = calibration
        self.registers[0xF7:0xFD] = b"\x80\x00\x00\x80\x00\x00"
        self.data = data
        self.reads = 0

    def write(self, data):
        for i in range(0, len(data), 2):
            self.registers[data[i]] = data[i + 1]
        if self.registers[0xF4] & 3:
            self.registers[0xF7:0xFD] = self.data

    def read(self, register, count):
        self.reads += 1
        return bytes(self.registers[register : register + count])


class Display:
    """Keep 128 x 64 visible pixels; refuse commands that a real display ignores."""

    def __init__(self):
        self.picture = bytearray(1024)
        self.on = False
        self.charged = False
        self.window = [0, 127, 0, 7]
        self.at = (0, 0)
        self.bytes = 0

    def write(self, data):
        if data[0] == 0x40:
            for byte in data[1:]:
                self._point(byte)
        elif data[0] == 0:
            self._commands(data[1:])
        else:
            raise ValueError("control byte")

    def _point(self, byte):
        column, page = self.at
        self.picture[page * 128 + column] = byte
        self.bytes += 1
        column += 1
        if column > self.window[1]:
            column = self.window[0]
            page = page + 1 if page < self.window[3] else self.window[2]
        self.at = (column, page)

    def _commands(self, data):
        i = 0
        while i < len(data):
            c = data[i]
            if c in (0x20, 0x81, 0x8D, 0xA8, 0xD3, 0xD5, 0xD9, 0xDA, 0xDB):
                if c == 0x8D:
                    self.charged = data[i + 1] == 0x14
                i += 2
            elif c in (0x21, 0x22):
                place = 0 if c == 0x21 else 2
                self.window[place : place + 2] = [data[i + 1], data[i + 2]]
                self.at = (self.window[0], self.window[2])
                i += 3
            else:
                if c == 0xAF:
                    self.on = True
                elif c == 0xAE:
                    self.on = False
                elif c not in (0x40, 0xA1, 0xA4, 0xA6, 0xC8):
                    raise ValueError(hex(c))
                i += 1


class Converter:
    """Four-channel converter of the cutoff's view: what was started is read, 125 uV a step."""

    def __init__(self, words=(2400, 24000, 11935, 0)):
        self.words = list(words)
        self.channel = 0

    def write(self, data):
        if data[0] != 1 or data[1] & 0x8F != 0x83 or data[1] & 0x40 == 0:
            raise ValueError("not one conversion of one pin against ground at 4.096 V")
        self.channel = data[1] >> 4 & 3

    def read(self, register, count):
        if register != 0:
            raise ValueError("no conversion")
        word = self.words[self.channel] & 0xFFFF
        return bytes((word >> 8, word & 255))[:count]
