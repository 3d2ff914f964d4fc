"""Workshop key: 32 random bytes that prove that a profile comes from this workshop.

It is stored in the system keyring, or without one in a file that only its owner can read (mode 0600). A tag proves origin, not safety: a
holder of the key can tag anything, and the inflator's own ceilings still hold. Earlier keys stay in the ring so that their tags can be
distinguished from forgeries.
"""

import base64
import contextlib
import hashlib
import hmac
import json
import os
import secrets
import stat
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt
from rimward_protocol import codes

from rimward.base import settings
from rimward.base.errors import Refusal
from rimward.wheels.register.place import data_dir

KEY_BYTES = 32
TAG_BYTES = 16
SERVICE = "rimward"
STORE_VARIABLE = "RIMWARD_KEYSTORE"
PURPOSES = ("workshop", "bench")
EXPORT_FORM = "rimward-key-2"
OPEN_FORM = "rimward-key-1"  # of earlier exports, unprotected
PHRASE_LETTERS = 8
SCRYPT = {"n": 2**15, "r": 8, "p": 1}  # about 0.1 s and 32 MB a try


@dataclass(frozen=True)
class Key:
    """One key. `key_id` identifies it without revealing it; `made` is its day (UTC)."""

    key: bytes
    made: str

    @property
    def check(self) -> bytes:
        """Check value that an inflator reports for its key; the first half is the fingerprint on its display."""
        return hashlib.sha256(self.key).digest()[:8]

    @property
    def key_id(self) -> str:
        """Short name of the key on this computer."""
        return hmac.new(self.key, b"rimward key id", hashlib.sha256).hexdigest()[:8]


@dataclass(frozen=True)
class Ring:
    """Keys, newest first, and the name of their storage."""

    keys: tuple[Key, ...]
    kept_in: str

    @property
    def current(self) -> Key:
        """Key in use. Refusal without one."""
        if not self.keys:
            raise Refusal(
                "This computer has no workshop key.",
                "Make one: rimward key new; or import one: rimward key import FILE.",
            )
        return self.keys[0]


class Damaged(Refusal):
    """The stored ring cannot be read; `key import` sets it aside and stores an exported copy instead."""

    def __init__(self, purpose: str, kept_in: str) -> None:
        super().__init__(
            f"The stored {purpose} key ({kept_in}) is damaged.",
            "Import your exported copy: rimward key import FILE.",
        )
        self.kept_in = kept_in


def tag_of(key: bytes, body: bytes) -> bytes:
    """Return HMAC-SHA-256 over `body`, cut to the first 16 bytes."""
    return hmac.new(key, body, hashlib.sha256).digest()[:TAG_BYTES]


def which_key(ring: Ring, body: bytes, tag: bytes) -> Key | None:
    """Return the key of the ring that made this tag; None for a foreign or damaged one."""
    return next((k for k in ring.keys if hmac.compare_digest(tag_of(k.key, body), tag)), None)


def file_of(purpose: str) -> Path:
    """File of the keys of one purpose, used without a system keyring."""
    return data_dir() / "keys" / f"{purpose}.json"


def usable_keyring() -> Any:
    """Return the system keyring, or None without one that keeps a secret (a fail, null or plain-text one)."""
    wanted = settings.value("keystore")
    if wanted == "file":
        return None
    import keyring

    backend = keyring.get_keyring()
    if getattr(backend, "priority", 0) >= 1:
        return backend
    if wanted == "keyring":
        raise Refusal(
            "This system has no keyring that can store the key.",
            f"Install or unlock one, or set {STORE_VARIABLE}=file.",
        )
    return None


def read_text(purpose: str) -> tuple[str | None, str]:
    """Return the stored ring as text, and its storage. An existing file has priority over an empty keyring."""
    backend = usable_keyring()
    if backend is not None:
        with keyring_errors():
            text = backend.get_password(SERVICE, purpose)
        if text is not None or not file_of(purpose).exists():
            return text, "system keyring"
    return read_private(file_of(purpose)), "file"


@contextlib.contextmanager
def keyring_errors() -> Iterator[None]:
    """Turn errors of a locked or failing keyring into one line."""
    import keyring.errors

    try:
        yield
    except keyring.errors.KeyringError as failed:
        raise Refusal(
            f"The system keyring refused: {failed}.", f"Unlock it, or set {STORE_VARIABLE}=file."
        ) from failed


def read_private(path: Path) -> str | None:
    """Read a secret file's text. None if it does not exist; Refusal when others could read it."""
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        return None
    folder = path.parent
    if (
        os.name == "posix"
        and folder.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO)
        and folder == data_dir() / "keys"
    ):
        raise Refusal(
            f"The key folder {folder} can be read by others.", f"Run chmod 700 '{folder}'."
        )
    if os.name == "posix" and mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise Refusal(
            f"The key file {path} can be read by others.",
            f"Run chmod 600 '{path}', and rotate the key if somebody may have read it.",
        )
    return path.read_text(encoding="utf-8")


def write_private(path: Path, text: str, replace: bool) -> None:
    """Write a secret file with mode 0600, completely or not at all."""
    if path.exists() and not replace:
        raise Refusal(f"{path} exists already.", "Choose another name, or move the old file.")
    aside = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        os.replace(aside, path)
    except OSError as failed:
        aside.unlink(missing_ok=True)
        raise Refusal(
            f"The key file {path} cannot be written: {failed.strerror}.",
            "Free space or choose another place; the old file is kept.",
        ) from failed


def load(purpose: str = "workshop") -> Ring:
    """Load the keys of one purpose. An empty ring without any; Refusal when the stored ring is damaged."""
    text, kept_in = read_text(purpose)
    if text is None:
        return Ring((), kept_in)
    try:
        keys = tuple(Key(bytes.fromhex(k["key"]), str(k["made"])) for k in json.loads(text)["keys"])
    except (ValueError, KeyError, TypeError) as damaged:
        raise Damaged(purpose, kept_in) from damaged
    if any(len(k.key) != KEY_BYTES for k in keys):
        raise Damaged(purpose, kept_in)
    return Ring(keys, kept_in)


def save(keys: tuple[Key, ...], kept_in: str, purpose: str) -> Ring:
    """Store all keys of the ring: records and tags of past years need theirs."""
    text = json.dumps({"keys": [{"key": k.key.hex(), "made": k.made} for k in keys]})
    if kept_in == "system keyring":
        with keyring_errors():
            usable_keyring().set_password(SERVICE, purpose, text)
    else:
        write_private(file_of(purpose), text, replace=True)
    return Ring(keys, kept_in)


def next_issue(key: Key, before: int = 0) -> int:
    """Reserve the next issue number of this key: minutes since 2020, above `before` and above every one made here.

    Minutes let several computers share a key without a common counter; `before` is the wheel's last number in the shared register.
    """
    path = data_dir() / "keys" / "issues.json"
    try:
        held = json.loads(read_private(path) or "{}")
        last = max((int(value) for value in held.values()), default=0)
    except (ValueError, TypeError, AttributeError):
        held, last = {}, 0  # only a counter: time continues without it
    number = max(int(time.time() - codes.EPOCH_DAY_UNIX_S) // 60, last + 1, before + 1)
    if number > codes.ISSUE_MAX:
        raise Refusal(
            "The key's issue numbers are used up.",
            "Check this computer's clock, then replace the key: rimward key rotate.",
        )
    held[key.key_id] = number
    write_private(path, json.dumps(held), replace=True)
    return number


def today() -> str:
    """Today's day, UTC, as ISO date."""
    return time.strftime("%Y-%m-%d", time.gmtime())


def new(purpose: str = "workshop") -> Ring:
    """Make the first key. Refused where there is one: `rotate` makes another."""
    ring = load(purpose)
    if ring.keys:
        raise Refusal(
            f"There is a {purpose} key already ({ring.current.key_id}).",
            "To replace it: rimward key rotate.",
        )
    return save((Key(secrets.token_bytes(KEY_BYTES), today()),), ring.kept_in, purpose)


def rotate(purpose: str = "workshop") -> Ring:
    """Put a new key before the old ones. Every inflator must then be enrolled again, and every tag reprinted."""
    ring = load(purpose)
    before = (ring.current, *ring.keys[1:])
    return save((Key(secrets.token_bytes(KEY_BYTES), today()), *before), ring.kept_in, purpose)


def export(path: Path, purpose: str = "workshop", phrase: str = "") -> Key:
    """Write the current key to a new file with mode 0600, encrypted with a passphrase."""
    if len(phrase) < PHRASE_LETTERS:
        raise Refusal(
            f"The passphrase has only {len(phrase)} {'letter' if len(phrase) == 1 else 'letters'}.",
            f"Use at least {PHRASE_LETTERS}; keep it separate from the file.",
        )
    key = load(purpose).current
    salt = secrets.token_bytes(16)
    secret = (
        _cipher(phrase, salt)
        .encrypt(json.dumps({"key": key.key.hex(), "made": key.made}).encode())
        .decode()
    )
    text = json.dumps(
        {
            "form": EXPORT_FORM,
            "purpose": purpose,
            "key_id": key.key_id,
            "salt": salt.hex(),
            "secret": secret,
        },
        indent=2,
    )
    write_private(path, text + "\n", replace=False)
    return key


def _cipher(phrase: str, salt: bytes) -> Any:
    """Encrypt and authenticate with a passphrase: scrypt (RFC 7914), then Fernet of the `cryptography` library."""

    return Fernet(
        base64.urlsafe_b64encode(Scrypt(salt=salt, length=32, **SCRYPT).derive(phrase.encode()))
    )


def is_protected(path: Path) -> bool:
    """Return True if an exported key needs a passphrase. False for one of an earlier version and for another file."""
    try:
        return bool(json.loads(path.read_text(encoding="utf-8"))["form"] == EXPORT_FORM)
    except (ValueError, KeyError, TypeError, OSError):
        return False


def readable_by_others(path: Path) -> bool:
    """Return True if others on this computer can read a file."""
    return os.name == "posix" and bool(path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO))


def take_over(path: Path, purpose: str = "workshop", phrase: str = "") -> Ring:
    """Import an exported key before the present ones. A damaged ring is set aside and replaced."""
    key = _exported(path, purpose, phrase)
    try:
        ring = load(purpose)
    except Damaged as damaged:
        set_aside(purpose, damaged.kept_in)
        ring = Ring((), damaged.kept_in)
    return save((key, *(k for k in ring.keys if k.key != key.key)), ring.kept_in, purpose)


def _exported(path: Path, purpose: str, phrase: str) -> Key:
    """Read the key of an exported file. Refusal for another file or purpose and for a wrong passphrase."""
    try:
        given = json.loads(path.read_text(encoding="utf-8"))
        if given["form"] not in (EXPORT_FORM, OPEN_FORM) or given["purpose"] != purpose:
            raise Refusal(
                f"{path} is not an exported {purpose} key.",
                f"Export one: rimward key export FILE --purpose {purpose}.",
            )
        held = given if given["form"] == OPEN_FORM else json.loads(_opened(given, phrase))
        key = Key(bytes.fromhex(held["key"]), str(held["made"]))
        whole = len(key.key) == KEY_BYTES and key.key_id == given["key_id"]
    except (ValueError, KeyError, TypeError, AttributeError, OSError) as wrong:
        raise Refusal(
            f"{path} is not an exported key.",
            "Export one on the other computer: rimward key export FILE.",
        ) from wrong
    if not whole:
        raise Refusal(f"The key in {path} is damaged.", "Export it again on the other computer.")
    return key


def _opened(given: Any, phrase: str) -> bytes:

    try:
        return bytes(
            _cipher(phrase, bytes.fromhex(given["salt"])).decrypt(given["secret"].encode())
        )
    except InvalidToken as wrong:
        raise Refusal(
            "The passphrase does not open this file, or the file is damaged.",
            "Type it again, or export the key again.",
        ) from wrong


def set_aside(purpose: str, kept_in: str) -> None:
    """Keep the stored bytes of a damaged ring under another name, for recovery by hand."""
    stamp = time.strftime("%Y%m%d-%H%M%S", time.gmtime())
    if kept_in == "system keyring":
        with keyring_errors():
            backend = usable_keyring()
            backend.set_password(
                SERVICE, f"{purpose}-damaged-{stamp}", backend.get_password(SERVICE, purpose) or ""
            )
    else:
        path = file_of(purpose)
        path.replace(path.with_name(f"{path.stem}-damaged-{stamp}.json"))
