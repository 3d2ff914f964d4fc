"""Naming a session on the command line: a file, or one that is kept on this computer."""

from pathlib import Path
from typing import Any

import click


class SessionFile(click.ParamType):
    """A path to a session file, or the name of a kept session as `rimward session list` shows it."""

    name = "file"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        from rimward.report.archive import NAME, Archive

        path = Path(value)
        if not path.exists() and NAME.fullmatch(str(value)):
            return Archive().path(str(value))
        if path.is_dir():
            self.fail(f"{value} is a folder.", param, ctx)
        return path

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[Any]:
        from click.shell_completion import CompletionItem

        from rimward.report.archive import Archive

        kept = [row["name"] for row in Archive().find() if row["name"].startswith(incomplete)] if incomplete else []
        return [CompletionItem(name) for name in kept] or [CompletionItem(incomplete, type="file")]


SESSION = SessionFile()
