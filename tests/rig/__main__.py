"""`python -m tests.rig [--json]`: the hardware's promises, computed again. `ok` is true only if every section holds."""

import json
import sys

from tests.rig import SECTIONS, run


def main() -> int:
    as_json = "--json" in sys.argv[1:]
    unknown = [a for a in sys.argv[1:] if a != "--json"]
    if unknown:
        print(f"unknown: {' '.join(unknown)}; use `python -m tests.rig [--json]`", file=sys.stderr)
        return 2
    results = [run(title, where) for title, where in SECTIONS]
    ok = all(r["ok"] for r in results)
    if as_json:
        print(json.dumps({"ok": ok, "sections": results}, indent=2))
        return 0 if ok else 1
    for result in results:
        print(f"{'holds ' if result['ok'] else 'FAILS '} {result['title']}")
        for line in result["lines"]:
            print(f"         {line}")
    print(
        "ok: everything holds"
        if ok
        else f"not ok: {', '.join(r['title'] for r in results if not r['ok'])}"
    )
    return 0 if ok else 1


if __name__ == "__main__":
    sys.exit(main())
