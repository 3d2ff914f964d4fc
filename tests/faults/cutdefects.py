"""Planted defects: stores as they must not be. The power cuts have to find every one. Runs on MicroPython.

A row: name, numbers of the actions that must show it, what to change in the firmware.
"""

import os

from rimward_fw.storage import records, sessionfiles, wheels
from rimward_protocol import replies


def _remove(path):
    for slot in (0, 1):
        records.remove_file(path + "." + str(slot))


def _next(path):
    held = records.read(path)
    return held[1] + 1 if held else 1


def in_place():
    """Both copies are overwritten in place, at the same time, piece by piece."""

    def write(path, body, feed=None):
        data = records.frame(_next(path), body)
        half = len(data) // 2
        try:
            mode = "r+b" if records.exists(path + ".1") else "wb"
            with open(path + ".0", mode) as first, open(path + ".1", mode) as second:
                for part in (data[:half], data[half:]):
                    for file in (first, second):
                        file.write(part)
                        file.flush()
        except OSError:
            return replies.STORE_FULL
        return replies.OK

    records.write = write


def old_goes_first():
    """The old copies are removed to make room for the new ones."""

    def write(path, body, feed=None):
        data = records.frame(_next(path), body)
        _remove(path)
        return records._put(path, 0, data) or records._put(path, 1, data)

    records.write = write


def one_copy():
    """Only one copy is brought up to date."""

    def write(path, body, feed=None):
        held = records.read(path)
        return records._put(path, 1 - held[2] if held else 0, records.frame(_next(path), body))

    records.write = write
    records.repair = lambda path: (records.read(path) or (None,))[0]


def revision_later():
    """A profile is deleted first, and what must survive it, its highest issue number, is written after that."""

    def delete(self, wheel):
        row = self.row(wheel)
        _remove(self._path(wheel))
        return self._write(wheel, 0, row.issue, None, b"")

    wheels.Wheels.delete = delete


def said_too_soon():
    """A change is answered before anything is written, and written with the next one."""
    later = []
    plain = records.write

    def write(path, body, feed=None):
        if later:
            plain(later[0][0], later[0][1])
        later[:] = [(path, body)]
        return replies.OK

    records.write = write


def ended_before_written():
    """A session is named as ended while its last blocks are still in memory."""

    def end(self, number, about):
        name = sessionfiles.ended_name(number, about)
        try:
            os.rename(self.path(number), self._folder + "/" + name)
        except OSError:
            return replies.STORE_FULL
        self._names[number] = name
        return replies.OK

    sessionfiles.SessionFiles.end = end


def session_copied():
    """Ending a session copies it and removes the original first."""

    def end(self, number, about):
        self.close()
        try:
            with open(self.path(number), "rb") as file:
                data = file.read()
            os.remove(self.path(number))
            name = sessionfiles.ended_name(number, about)
            with open(self._folder + "/" + name, "wb") as file:
                file.write(data)
        except OSError:
            return replies.STORE_FULL
        self._names[number] = name
        return replies.OK

    sessionfiles.SessionFiles.end = end


def unchecked():
    """A copy is accepted without its check code, and written in place."""
    records.parse = lambda data: (data[4] | data[5] << 8, data[8:-4]) if len(data) > 12 else None
    in_place()


DEFECTS = (
    ("in place", ("profile replaced",), in_place),
    ("old goes first", ("profile replaced",), old_goes_first),
    ("one copy", ("setting changed",), one_copy),
    ("revision later", ("profile deleted",), revision_later),
    ("said too soon", ("setting changed",), said_too_soon),
    ("ended before written", ("session ended",), ended_before_written),
    ("session copied", ("session ended",), session_copied),
    ("unchecked", ("key changed",), unchecked),
)
