"""Source text without comments, docstrings and imports: kept figures stay valid when only the wording changes."""

import ast


def bare(text: str) -> str:
    """Return Python text without comments, docstrings and imports."""
    tree = ast.parse(text)
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):
            words = (ast.Module, ast.FunctionDef, ast.ClassDef)
            documented = (
                isinstance(node, words) and ast.get_docstring(node, clean=False) is not None
            )
            left = [
                one
                for one in body[int(documented) :]
                if not isinstance(one, ast.Import | ast.ImportFrom)
            ]
            node.body = left or [ast.Pass()]  # type: ignore[attr-defined]
    return ast.unparse(tree)
