"""Safety case: ties every solution to its files, names those that are stale or missing, and draws the page.

`python -m hardware.safety_case` lists the state; `--refresh` accepts the present files as evidence, after their tests have
passed, and writes
the pages. A solution whose figure does not hold stays red.
"""

import hashlib
import json
import sys
from dataclasses import dataclass
from functools import cache
from html import escape
from pathlib import Path
from typing import Any

from hardware import case_data, hazards
from hardware.case_data import NODES
from hardware.case_node import ASSUMPTION, CONTEXT, GOAL, JUSTIFICATION, SOLUTION, STRATEGY, Node

ROOT = Path(__file__).resolve().parent.parent
KEPT = Path(__file__).resolve().parent / "evidence.json"
GREEN, RED = "holds", "RED"
Digests = dict[str, str]


@dataclass(frozen=True)
class State:
    """State of one solution: `why` names stale or missing items, empty where it holds."""

    node: Node
    why: tuple[str, ...]

    @property
    def ok(self) -> bool:
        """True where nothing is stale or missing."""
        return not self.why


@cache
def _digest(path: Path, _stamp: tuple[int, int]) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]


def digests(node: Node, root: Path = ROOT) -> Digests:
    """File -> digest of everything a solution is based on; an empty digest for a pattern without a file."""
    found: Digests = {}
    for pattern in node.files:
        paths = sorted(root.glob(pattern))
        if not paths:
            found[pattern] = ""
        for path in paths:
            about = path.stat()
            found[path.relative_to(root).as_posix()] = _digest(
                path, (about.st_mtime_ns, about.st_size)
            )
    return found


def figure_holds(node: Node, root: Path = ROOT) -> bool:
    """Return True if the entry kept by a program says so."""
    if not node.figure:
        return True
    try:
        value: Any = json.loads((root / node.figure[0]).read_text(encoding="utf-8"))
        for key in node.figure[1:]:
            value = value[key]
    except (OSError, ValueError, KeyError, TypeError):
        return False
    return bool(value)


def kept() -> dict[str, Digests]:
    """Digests at the last refresh, by solution."""
    return json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.is_file() else {}


def missing_tests(node: Node, root: Path) -> list[str]:
    """Named tests that are not in the tree: `file` or `file::function`."""
    return [
        t
        for t in node.tests
        if not ((root / t).is_file() if "::" not in t else hazards.test_exists(t))
    ]


def state(node: Node, then: Digests | None, root: Path = ROOT) -> State:
    """Reasons why one solution does not hold, compared with the digests of the last refresh."""
    now = digests(node, root)
    why = [f"missing: {name}" for name, digest in now.items() if not digest]
    why += [f"no such test: {t}" for t in missing_tests(node, root)]
    if not node.files or then is None:
        why.append("not bound to evidence")
    else:
        why += [
            f"changed since: {name}"
            for name, digest in now.items()
            if digest and then.get(name) != digest
        ]
        why += [f"gone since: {name}" for name in then if name not in now]
    if not figure_holds(node, root):
        why.append(f"its figure does not hold: {' '.join(node.figure)}")
    return State(node, tuple(why))


def states(root: Path = ROOT) -> list[State]:
    """All solutions, in order."""
    then = kept()
    return [state(n, then.get(n.id), root) for n in NODES if n.kind == SOLUTION]


def reds(root: Path = ROOT) -> list[str]:
    """One line for each solution that does not hold."""
    return [
        f"{s.node.id} {s.node.text}: {'; '.join(s.why[:3])}{' ...' if len(s.why) > 3 else ''}"
        for s in states(root)
        if not s.ok
    ]


def refresh() -> list[str]:
    """Accept every file as it is. Return the solutions that stay red."""
    KEPT.write_text(
        json.dumps({n.id: digests(n) for n in NODES if n.kind == SOLUTION}, indent=1) + "\n",
        encoding="utf-8",
    )
    return reds()


def faults_of_structure() -> list[str]:
    """Violations of GSN: a loose end, a goal without support, a solution that supports no goal, more than two top claims."""
    by_id = {n.id: n for n in NODES}
    wrong = [f"{i} twice" for i in by_id if sum(n.id == i for n in NODES) > 1]
    allowed = {
        GOAL: (STRATEGY,),
        STRATEGY: (GOAL,),
        SOLUTION: (GOAL,),
        CONTEXT: (GOAL, STRATEGY),
        ASSUMPTION: (GOAL, STRATEGY),
        JUSTIFICATION: (GOAL, STRATEGY),
    }
    for n in NODES:
        if n.under and (n.under not in by_id or by_id[n.under].kind not in allowed[n.kind]):
            wrong.append(f"{n.id} stands under {n.under}")
        if not n.under and n.kind != GOAL:
            wrong.append(f"{n.id} stands nowhere")
        supported = [m for m in NODES if m.under == n.id and m.kind in (GOAL, STRATEGY, SOLUTION)]
        if n.kind in (GOAL, STRATEGY) and not supported and not n.undeveloped:
            wrong.append(f"{n.id} has no support")
    tops = [n.id for n in NODES if n.kind == GOAL and not n.under]
    return wrong + ([] if len(tops) == 2 else [f"{len(tops)} top claims"])


# The page

BOX_W, GAP, LINE_H = 176, 18, 13


def wrapped(text: str, width: int = 28) -> list[str]:
    """Text in lines of at most `width` characters, whole words."""
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + len(word) + 1 > width:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def shape(kind: str, x: float, y: float, h: float, fill: str) -> str:
    """Outline of an element: rectangle, parallelogram, circle-ended, ellipse as in the standard."""
    style = f'fill="{fill}" stroke="#222"'
    if kind == STRATEGY:
        points = f"{x + 10},{y} {x + BOX_W + 6},{y} {x + BOX_W - 10},{y + h} {x - 6},{y + h}"
        return f'<polygon points="{points}" {style}/>'
    if kind in (SOLUTION, ASSUMPTION, JUSTIFICATION):
        return f'<ellipse cx="{x + BOX_W / 2}" cy="{y + h / 2}" rx="{BOX_W / 2 + 6}" ry="{h / 2 + 5}" {style}/>'
    return f'<rect x="{x}" y="{y}" width="{BOX_W}" height="{h}" rx="{h / 2 if kind == CONTEXT else 0}" {style}/>'


def drawn(n: Node, x: float, y: float, red: bool) -> tuple[str, float]:
    """Return (SVG of one element, its height)."""
    lines = [
        n.id + (" RED" if red else ""),
        *wrapped(n.text, 24 if n.kind in (SOLUTION, ASSUMPTION, JUSTIFICATION, CONTEXT) else 28),
    ]
    h = LINE_H * len(lines) + 14
    fill = "#f6b0a8" if red else "#e4f2e1" if n.kind == SOLUTION else "#fff"
    parts = [shape(n.kind, x, y, h, fill)]
    for i, text in enumerate(lines):
        weight = ' font-weight="bold"' if i == 0 else ""
        parts.append(
            f'<text x="{x + BOX_W / 2}" y="{y + 15 + i * LINE_H}" text-anchor="middle"{weight}>{escape(text)}</text>'
        )
    if n.kind in (ASSUMPTION, JUSTIFICATION):
        parts.append(
            f'<text x="{x + BOX_W}" y="{y + h + 8}">{"A" if n.kind == ASSUMPTION else "J"}</text>'
        )
    if n.undeveloped:
        cx, cy = x + BOX_W / 2, y + h + 9
        parts.append(
            f'<polygon points="{cx},{cy - 9} {cx + 9},{cy} {cx},{cy + 9} {cx - 9},{cy}" fill="#fff" stroke="#222"/>'
        )
    return "".join(parts), h


def arrow(x1: float, y1: float, x2: float, y2: float, hollow: bool = False) -> str:
    """Arrow: a filled head for supported by, a hollow one for in context of."""
    return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="#222" marker-end="url(#{"open" if hollow else "full"})"/>'


def row_svg(
    nodes: list[Node], y: float, red: set[str]
) -> tuple[list[str], float, dict[str, float]]:
    """Elements side by side: drawings, the tallest, middle of each."""
    parts, tallest, middles = [], 0.0, {}
    for i, n in enumerate(nodes):
        x = 14 + i * (BOX_W + GAP)
        text, h = drawn(n, x, y, n.id in red)
        parts.append(text)
        tallest, middles[n.id] = max(tallest, h), x + BOX_W / 2
    return parts, tallest, middles


def diagram(root: Node, red: set[str]) -> str:
    """Draw a goal, its context, and its support one or two levels down, as SVG."""
    around = [
        n for n in NODES if n.under == root.id and n.kind in (CONTEXT, ASSUMPTION, JUSTIFICATION)
    ]
    below = [n for n in NODES if n.under == root.id and n.kind in (STRATEGY, GOAL, SOLUTION)]
    rows = [
        [root, *around],
        below,
        [n for b in below if b.kind == STRATEGY for n in NODES if n.under == b.id],
    ]
    parts: list[str] = []
    y = 34.0
    above: dict[str, float] = {}
    bottom: dict[str, float] = {}
    for nodes in [r for r in rows if r]:
        drawings, tallest, middles = row_svg(nodes, y, red)
        parts += drawings
        for n in nodes:
            if n.under in above and n is not root:
                parts.append(arrow(above[n.under], bottom[n.under], middles[n.id], y - 6))
        if nodes[0] is root:
            for n in nodes[1:]:
                parts.append(
                    f'<path d="M{middles[root.id]},{y} V8 H{middles[n.id]} V{y - 5}" fill="none" stroke="#222" marker-end="url(#open)"/>'
                )
        above.update(middles)
        bottom.update({n.id: y + drawn(n, 0, 0, False)[1] + 6 for n in nodes})
        y += tallest + 46
    width = 28 + max(len(r) for r in rows) * (BOX_W + GAP)
    heads = (
        '<defs><marker id="full" markerWidth="9" markerHeight="9" refX="7" refY="4" orient="auto"><path d="M0,0 L8,4 L0,8 z"/></marker>'
        '<marker id="open" markerWidth="9" markerHeight="9" refX="7" refY="4" orient="auto"><path d="M0,0 L8,4 L0,8 z" fill="#fff" stroke="#222"/></marker></defs>'
    )
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {y}" width="{width}" font-family="sans-serif" font-size="11">{heads}{"".join(parts)}</svg>'


def pages() -> list[Node]:
    """Goals with a drawing: the two claims and every goal with direct support."""
    return [
        n
        for n in NODES
        if n.kind == GOAL and any(m.under == n.id and m.kind in (STRATEGY, SOLUTION) for m in NODES)
    ]


def evidence_rows() -> list[tuple[str, str, str, str]]:
    """Return (id, text, state, tests and files) of each solution."""
    rows = []
    for s in states():
        rests = [*s.node.tests, *(f for f in s.node.files if f not in s.node.tests)]
        rows.append(
            (
                s.node.id,
                s.node.text,
                GREEN if s.ok else f"{RED}: {'; '.join(s.why[:4])}",
                ", ".join(rests),
            )
        )
    return rows


def red_ids() -> set[str]:
    """Solutions that do not hold, and every goal and strategy above them."""
    by_id = {n.id: n for n in NODES}
    found: set[str] = set()
    for s in states():
        at: Node | None = s.node if not s.ok else None
        while at is not None:
            found.add(at.id)
            at = by_id.get(at.under)
    return found


def html() -> str:
    """Return the whole case as one page."""
    red = red_ids()
    body = [f'<h1>Safety case</h1><p class="banner">{escape(case_data.BANNER)}</p>']
    body.append(
        f"<p>{'Every solution is bound to the files as they are.' if not red else '<b class=red>RED: evidence is stale or missing, see below.</b>'}</p>"
    )
    for n in pages():
        body.append(
            f"<section><h2>{escape(n.id)}: {escape(n.text)}</h2>{diagram(n, red)}</section>"
        )
    rows = "".join(
        f"<tr{' class=red' if r[2] != GREEN else ''}>"
        + "".join(f"<td>{escape(c)}</td>" for c in r)
        + "</tr>"
        for r in evidence_rows()
    )
    body.append(
        f"<h2>Evidence</h2><table><thead><tr><th>id</th><th>kind</th><th>state</th><th>rests on</th></tr></thead><tbody>{rows}</tbody></table>"
    )
    body.append(
        "<h2>Not argued</h2><ul>"
        + "".join(f"<li>{escape(t)}</li>" for t in case_data.NOT_ARGUED)
        + "</ul>"
    )
    style = (
        "@page{size:A4 landscape;margin:10mm}body{font:10pt/1.4 sans-serif}svg{max-width:100%;height:auto}section{break-inside:avoid}"
        ".banner{border:2px solid #a40;padding:6px 10px;font-weight:bold}table{border-collapse:collapse;width:100%}"
        "th,td{border:1px solid #777;padding:3px 5px;vertical-align:top;text-align:left}td:last-child{font-size:7.5pt;overflow-wrap:anywhere}.red{background:#f6b0a8}"
    )
    return f'<!doctype html><html lang="en"><meta charset="utf-8"><title>Rimward: safety case</title><style>{style}</style>{"".join(body)}</html>\n'


def markdown() -> str:
    """Return the case as an indented outline."""
    red = red_ids()
    lines = [
        "# Safety case",
        "",
        f"**{case_data.BANNER}**",
        "",
        "Goal Structuring Notation as an outline; `safety_case.html` has the drawings.",
        "",
    ]

    def put(n: Node, depth: int) -> None:
        """Append one element and everything below it."""
        mark = " **RED**" if n.id in red else ""
        lines.append(
            f"{'  ' * depth}- {n.kind} {n.id}{mark}: {n.text}{' (undeveloped)' if n.undeveloped else ''}"
        )
        for m in NODES:
            if m.under == n.id:
                put(m, depth + 1)

    for top in [n for n in NODES if n.kind == GOAL and not n.under]:
        put(top, 0)
    lines += [
        "",
        "## Evidence",
        "",
        "| id | kind | state | rests on |",
        "| --- | --- | --- | --- |",
        *("| " + " | ".join(r) + " |" for r in evidence_rows()),
    ]
    return "\n".join(
        [*lines, "", "## Not argued", "", *(f"- {t}" for t in case_data.NOT_ARGUED), ""]
    )


def write_pages() -> None:
    """Write both pages into hardware/out."""
    out = ROOT / "hardware" / "out"
    (out / "safety_case.html").write_text(html(), encoding="utf-8")
    (out / "safety_case.md").write_text(markdown(), encoding="utf-8")


def main() -> int:
    """Run the command."""
    if "--refresh" in sys.argv[1:]:
        left = refresh()
        write_pages()
    else:
        left = reds()
    print(
        "\n".join(f"RED: {line}" for line in left)
        or f"{len(states())} solutions, all bound to the files as they are"
    )
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
