"""Where the user's data lives, and which database holds the register."""

from pathlib import Path

import platformdirs

from rimward import settings

REGISTER_FILE = "register.db"


def data_dir() -> Path:
    """The user's data folder (made on first use); the setting `data` overrides it."""
    stated = settings.value("data")
    folder = Path(stated) if stated else Path(platformdirs.user_data_dir("rimward", appauthor=False))
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return folder


def database_url(stated: str | None = None) -> str:
    """The register's database as a URL: the one stated, else the setting `database`, else a file in the data folder.

    A bare path is taken as an SQLite file; a PostgreSQL URL gets the driver that the `server` extra installs.
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
