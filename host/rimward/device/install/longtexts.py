"""Long texts of the firmware as files beside their modules, so that they take no heap on the chip."""

import ast

# module -> the constant that becomes a file: a string, or a dict of strings by name
LONG = {"rimward_fw.ui.screens": "SCREENS", "rimward_protocol.reasons": "TEXT"}
FILE_NAME = "(__file__[:-3] + 'txt').encode()"  # beside NAME.mpy


def taken_out(sources: dict[str, str]) -> tuple[dict[str, str], dict[str, bytes]]:
    """Return all modules (dotted name -> text) with a file name in place of each long text, and the files' bytes by module. ValueError
    if one is missing.
    """
    texts, files = dict(sources), {}
    for module, constant in LONG.items():
        if module not in sources:
            continue
        tree = ast.parse(sources[module])
        found = [
            node
            for node in tree.body
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == constant
        ]
        if len(found) != 1:
            raise ValueError(f"{module} does not hold its long text as {constant}")
        value = ast.literal_eval(found[0].value)
        files[module] = (
            value
            if isinstance(value, str)
            else "".join(f"\0{name}\n{text}" for name, text in value.items()) + "\0"
        ).encode()
        found[0].value = ast.parse(FILE_NAME, mode="eval").body
        texts[module] = ast.unparse(tree) + "\n"
    return texts, files
