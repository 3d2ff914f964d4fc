"""The table of screens, kept as text beside this file and read one screen at a time: in memory it would cost a tenth of the heap."""

_HERE = __file__[: max(__file__.rfind("/"), __file__.rfind("\\")) + 1]
FILE = _HERE + "screens.txt"
_PIECE = 512


def load(name):
    """Turns of one screen: a list of tables, each a list of (place, style, text). KeyError if there is no such screen."""
    turns = [[]]
    for line in _body(name).split("\n"):
        if line == "-":
            turns.append([])
        else:
            place, style, text = (line + " ").split(" ", 2)
            turns[-1].append((place, style, text.rstrip()))
    return turns


def _body(name):
    """The lines of one screen, read by pieces: line by line is a call of the file system for every sign."""
    start = "\n= " + name + "\n"
    with open(FILE) as file:
        text = ""
        while start not in text:
            piece = file.read(_PIECE)
            if not piece:
                raise KeyError(name)
            text = text[-len(start) :] + piece
        text = text[text.find(start) + len(start) :]
        while "\n= " not in text and piece:
            piece = file.read(_PIECE)
            text += piece
    return text.split("\n= ")[0].rstrip("\n")


def names():
    """All screens."""
    with open(FILE) as file:
        return [line[2:].rstrip("\n") for line in file if line[0] == "="]
