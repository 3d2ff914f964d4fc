"""Runs command lines in a Python that lacks some modules: JSON with the lacking modules and the lines on standard input, JSON with answers out.

`whose`: only for imports from modules whose name begins so; a library with an alternative on such a system uses it.
"""

import builtins
import contextlib
import io
import json
import sys


def main() -> None:
    asked = json.load(sys.stdin)
    lacking, whose = set(asked["lacking"]), asked["whose"]
    real = builtins.__import__

    def imported(name, globals=None, locals=None, fromlist=(), level=0):
        importer = str((globals or {}).get("__name__", ""))
        if level == 0 and name.partition(".")[0] in lacking and importer.startswith(whose):
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
        return real(name, globals, locals, fromlist, level)

    builtins.__import__ = imported
    from rimward.cli.main import run

    answers = []
    for words in asked["lines"]:
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = run(words)
        answers.append({"code": code, "out": out.getvalue(), "err": err.getvalue()})
    json.dump(answers, sys.stdout)


if __name__ == "__main__":
    main()
