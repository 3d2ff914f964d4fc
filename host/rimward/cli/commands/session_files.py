"""Session arguments of the command line: a file, or a session stored on this computer."""

from pathlib import Path
from typing import Any

import click
from click.shell_completion import CompletionItem


class SessionFile(click.ParamType):  # type: ignore[type-arg]
    """A path to a session file, or the name of a stored session as shown by `rimward session list`."""

    name = "file"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Resolve the value to a path, as click requires."""
        from rimward.sessions.report.archive import NAME, Archive

        path = Path(value)
        if not path.exists() and NAME.fullmatch(str(value)):
            return Archive().path(str(value))
        if path.is_dir():
            self.fail(f"{value} is a folder.", param, ctx)
        return path

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[Any]:
        """Complete names of stored sessions, as click requires."""

        from rimward.sessions.report.archive import Archive

        kept = (
            [row["name"] for row in Archive().find() if row["name"].startswith(incomplete)]
            if incomplete
            else []
        )
        return [CompletionItem(name) for name in kept] or [CompletionItem(incomplete, type="file")]


SESSION = SessionFile()
