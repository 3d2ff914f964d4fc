"""What commands print: people read rich text, programs read JSON, and the two never mix on standard output."""

import json
from typing import Any

from rich.console import Console

console = Console(highlight=False, soft_wrap=True)
progress_console = Console(stderr=True, highlight=False)


def emit_json(obj: Any) -> None:
    """Prints one JSON document on standard output."""
    print(json.dumps(obj, indent=2, ensure_ascii=False, allow_nan=False))
