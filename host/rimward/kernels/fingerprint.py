"""Hash of the kernels: guard and fill controller over their normalised source, their limits and the words of their arrays.

Comments, docstrings and layout do not change it; a constant, an expression or a word does. A session's header contains it, so
that a replay by
other kernels is not taken for a forged record.
"""

import ast
import hashlib
from functools import cache

from rimward_fw.bench.limits import LIMITS
from rimward_protocol import kernel_words

from rimward.kernels.assemble import gathered

MODULES = ("rimward_fw.kernels.guard", "rimward_fw.kernels.fill")
HASH_BYTES = 8


@cache
def kernel_hash(bench: bool = False) -> bytes:
    """First 8 bytes of SHA-256 over everything that decides a tick, of an inflator or of a proof bench."""
    parts = [normalised(tree) for name in module_names(bench) for tree in gathered(name).values()]
    if bench:
        parts.append(repr(sorted(LIMITS.items())))
    for title, words in kernel_words.TABLES:
        parts.append(title + " " + " ".join(f"{name} {unit}" for name, unit, _meaning in words))
    return hashlib.sha256("\n".join(parts).encode()).digest()[:HASH_BYTES]


def module_names(bench: bool) -> tuple[str, ...]:
    """Entry modules of both kernels; a proof bench has its own fill controller."""
    return (MODULES[0], "rimward_fw.bench.fill") if bench else MODULES


def normalised(tree: ast.Module) -> str:
    """Source of a module without comments, docstrings and layout."""
    copied = ast.parse(ast.unparse(tree))
    for node in ast.walk(copied):
        body = getattr(node, "body", None)
        if (
            isinstance(node, (ast.Module, ast.FunctionDef))
            and body
            and ast.get_docstring(node, clean=False) is not None
        ):
            node.body = body[1:] or [ast.Pass()]
    return ast.unparse(copied)
