"""Location of the user's data and of the register's database."""

from pathlib import Path

import platformdirs

from rimward.base import settings

REGISTER_FILE = "register.db"


def data_dir() -> Path:
    """User's data folder (created on first use); the setting `data` overrides it."""
    stated = settings.value("data")
    folder = (
        Path(stated) if stated else Path(platformdirs.user_data_dir("rimward", appauthor=False))
    )
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return folder


def database_url(stated: str | None = None) -> str:
    """Database URL of the register: the stated one, else the setting `database`, else a file in the data folder.

    A bare path is an SQLite file; a PostgreSQL URL gets the driver of the `server` extra.
    """
    stated = stated or settings.value("database")
    if not stated:
        return f"sqlite:///{data_dir() / REGISTER_FILE}"
    if "://" not in stated:
        return f"sqlite:///{Path(stated).absolute()}"
    for plain in ("postgresql://", "postgres://"):
        if stated.startswith(plain):
            return "postgresql+psycopg://" + stated[len(plain) :]
    return stated
