"""A board at its prompt: MicroPython's unix build that speaks the raw prompt on its standard streams, over a littlefs of its own.

The file system is real littlefs in memory, loaded from and kept in a file, so that power cuts and later sessions see what was stored.
Run as: micropython prompt_board.py IMAGE. Words on the wire are those of MicroPython's documentation of the raw REPL.
"""

import io
import sys

import vfs

BLOCKS = 512
BANNER = b"raw REPL; CTRL-B to exit\r\n"


class Flash:
    """Blocks of 4 KiB in memory."""

    def __init__(self, data):
        self.data = data
        self.changed = set()  # blocks not kept yet

    def readblocks(self, n, buf, off=0):
        buf[:] = memoryview(self.data)[n * 4096 + off : n * 4096 + off + len(buf)]

    def writeblocks(self, n, buf, off=None):
        at = n * 4096 + (off or 0)
        self.data[at : at + len(buf)] = buf
        self.changed.add(n)

    def ioctl(self, op, arg):
        return {4: BLOCKS, 5: 4096}.get(op, 0)


def load(name):
    """The flash as it was left, or a fresh one."""
    try:
        with open(name, "rb") as file:
            return Flash(bytearray(file.read()))
    except OSError:
        flash = Flash(bytearray(b"\xff" * 4096 * BLOCKS))
        vfs.VfsLfs2.mkfs(flash)
        return flash


class Wire:
    """Bytes in and out, one at a time."""

    def __init__(self, keep):
        self.source = sys.stdin.buffer
        self.sink = sys.stdout.buffer
        self.keep = keep

    def byte(self):
        data = self.source.read(1)
        if not data:
            sys.exit(0)
        return data[0]

    def say(self, data):
        self.sink.write(data)


def execute(wire, code, world):
    """Run one command; output, then what went wrong."""
    printed = io.StringIO()
    world["print"] = lambda *words, end="\n": printed.write(" ".join([str(w) for w in words]) + end)
    wrong = io.StringIO()
    try:
        exec(compile(code, "<stdin>", "exec"), world)
    except SystemExit:
        raise
    except BaseException as error:
        sys.print_exception(error, wrong)
    wire.say(printed.getvalue().encode() + b"\x04" + wrong.getvalue().encode() + b"\x04")


def serve(wire):
    """The prompt: control letters, then commands that end in 0x04."""
    world = {"__name__": "__main__"}
    raw = False
    line = bytearray()
    while True:
        c = wire.byte()
        if c == 1:
            raw, line = True, bytearray()
            wire.say(BANNER + b">")
        elif c == 2:
            raw = False
            wire.say(b"\r\n>>> ")
        elif c == 3:
            line = bytearray()
        elif c == 4 and raw and not line:
            world = {"__name__": "__main__"}
            wire.say(b"OK\r\nMPY: soft reboot\r\n" + BANNER + b">")
        elif c == 4 and raw:
            code = bytes(line).decode()
            line = bytearray()
            wire.say(b"OK")
            execute(wire, code, world)
            wire.keep()
            wire.say(b">")
        elif c == 5 and raw:
            wire.byte(), wire.byte()
            wire.say(b"R\x00")
        elif raw and not (c == 13 and not line):
            line.append(c)


def main():
    """Take the place of the board until the wire ends."""
    name = sys.argv[1]
    flash = load(name)
    out = open(name, "wb")  # noqa: SIM115 (open until the program ends)

    def keep():
        for n in sorted(flash.changed):
            out.seek(4096 * n)
            out.write(memoryview(flash.data)[4096 * n : 4096 * n + 4096])
        flash.changed.clear()
        out.flush()

    out.write(flash.data)
    keep()
    vfs.umount("/")
    vfs.mount(vfs.VfsLfs2(flash), "/")
    sys.path[:] = ["", "/lib"]
    serve(Wire(keep))


if __name__ == "__main__":
    main()
