"""Type annotations taken out of the firmware before its other steps: they are for readers and for mypy.

mpy-cross compiles annotations to nothing, but the steps that shorten and join names would take the names in them for used ones.
"""

import ast

FOR_TYPES = "TYPE_CHECKING"  # false at run time; what its branches import is for mypy


def untyped(text: str) -> str:
    """Return a module's text without annotations and without the branches that only a type checker reads."""
    tree = _Untyped().visit(ast.parse(text))
    return ast.unparse(ast.fix_missing_locations(tree)) + "\n"


class _Untyped(ast.NodeTransformer):
    """Remove annotations, `TYPE_CHECKING`, and what stands under it."""

    def visit_arg(self, node: ast.arg) -> ast.arg:
        """Remove a parameter's type."""
        node.annotation = None
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.FunctionDef:
        """Remove a result's type."""
        node.returns = None
        self.generic_visit(node)
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.Assign | None:
        """Make an annotated assignment a plain one; a declaration without a value goes."""
        if node.value is None:
            return None
        plain = ast.Assign([node.target], self.visit(node.value))
        return ast.copy_location(plain, node)

    def visit_If(self, node: ast.If) -> ast.If | list[ast.stmt]:
        """Keep of `if TYPE_CHECKING` what runs."""
        self.generic_visit(node)
        return node.orelse if ast.unparse(node.test) == FOR_TYPES else node

    def visit_Assign(self, node: ast.Assign) -> ast.Assign | None:
        """Remove the definition of `TYPE_CHECKING`."""
        return None if ast.unparse(node.targets[0]) == FOR_TYPES else node

    def visit_ImportFrom(self, node: ast.ImportFrom) -> ast.ImportFrom | None:
        """Remove `TYPE_CHECKING` from what is imported."""
        node.names = [alias for alias in node.names if alias.name != FOR_TYPES]
        return node if node.names else None
