"""Verification of a session, and the one line that reports it wherever a session is shown."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from rimward_protocol import kernel_words, sessionread
from rimward_protocol.mac import hmac_sha256

from rimward.base.errors import Refusal
from rimward.formats import records
from rimward.kernels.fingerprint import kernel_hash
from rimward.sessions.log import SessionLog
from rimward.sessions.replay import replay

DEMO_SHOP = "Fernhollow Wheels"
DEMO_KEY = hashlib.sha256(
    DEMO_SHOP.encode()
).digest()  # of the demo and of virtual inflators: invented and public
NO_HASH = bytes(8)
KERNEL_WORDS = (
    ("g", kernel_words.GUARD_STATE),
    ("x", kernel_words.GUARD_INPUT),
    ("f", kernel_words.FILL_STATE),
    ("y", kernel_words.FILL_INPUT),
)


@dataclass(frozen=True)
class Verification:
    """Results. `chain` is True or False where a key was available, None without one or without a chain.

    `same_kernels`: True or False by the hash in the record, None for a record without one. `by`: version that recorded it. `known_key`: the
    chain fits the demo's public key.
    """

    whole: bool
    damage: str
    chained: bool
    chain: bool | None
    same_kernels: bool | None
    replay_identical: bool | None
    replay_ticks: int
    replay_spans: int
    replay_share: float
    lost_spans: int
    bench: bool = False
    by: str = ""
    known_key: bool = False

    @property
    def holds(self) -> bool:
        """True if check codes are complete, the chain fits the inflator's or the bench's key, and all full-rate data replayed to the same decisions.

        The kernels that the record names must be those of this host.
        """
        return (
            self.whole
            and self.chain is True
            and self.replay_identical is True
            and self.same_kernels is True
        )


def recorded_by_ours(log: SessionLog) -> bool | None:
    """Return True if a record's kernels are those of this host; None for a record that does not name them but has as many words."""
    if not all(log.header[f"words_{name}"] == len(names) for name, names in KERNEL_WORDS):
        return False
    named = bytes(log.header["kernel_hash"])
    return None if named == NO_HASH else named == kernel_hash(log.bench)


def kernels_text(log: SessionLog) -> str:
    """Version whose host replays a record of other kernels."""
    firmware = records.text_of(log.meta.get("firmware", b"")) or "not recorded"
    return f"firmware {firmware}, kernels {bytes(log.header['kernel_hash']).hex()}"


def other_kernels(by: str) -> str:
    """Text for a record decided by other kernels than this host's."""
    return f"recorded by other kernels ({by}); replay it with the host of that version"


def verify(
    log: SessionLog, raw: bytes | None, keys: Sequence[bytes] = (), check: bool = True
) -> Verification:
    """Check check codes, chain and replay of a session."""

    chain, known = None, False
    if log.chained and raw is not None:
        known = DEMO_KEY not in keys and sessionread.chain_holds(
            raw, hmac_sha256(DEMO_KEY, b"session")
        )
        if keys and not known:
            chain = any(sessionread.chain_holds(raw, hmac_sha256(key, b"session")) for key in keys)
    ours = recorded_by_ours(log)
    again = replay(log) if check and ours is not False else None
    return Verification(
        whole=not log.damage,
        damage=log.damage,
        chained=log.chained,
        chain=chain,
        same_kernels=ours,
        replay_identical=again.identical if again and again.ticks else None,
        replay_ticks=again.ticks if again else 0,
        replay_spans=len(again.spans) if again else 0,
        replay_share=_share(log, again.ticks) if again else 0.0,
        lost_spans=log.broken_spans,
        bench=log.bench,
        by=kernels_text(log),
        known_key=known,
    )


def _share(log: SessionLog, ticks: int) -> float:
    """Share of the record, from first to last tick, that was recorded at full rate and replayed."""
    series = log.series()
    whole = int(series["tick"][-1] - series["tick"][0]) + 1 if len(series) else 0
    return round(min(1.0, ticks / whole), 4) if whole else 0.0


def workshop_keys(purpose: str = "workshop") -> tuple[bytes, ...]:
    """Return this computer's keys, newest first; empty without any or where they cannot be read."""
    from rimward.wheels import keys

    try:
        return tuple(key.key for key in keys.load(purpose).keys)
    except Refusal:
        return ()


def keys_for(log: SessionLog) -> tuple[bytes, ...]:
    """Keys for checking a record's chain: the bench's for a proof bench's record, else the workshop's."""
    return workshop_keys("bench" if log.bench else "workshop")


def verdict_of(v: Verification) -> str:
    """Return the result of the verification in one line."""
    if v.holds:
        return f"verified: complete, and {_percent(v)} of it replayed to the same decisions"
    if v.known_key and v.whole and v.replay_identical is not False and v.same_kernels is not False:
        return f"RECORDED WITH ANOTHER KEY, the demo's, which is public: complete, and {_percent(v)} of it replayed to the same decisions"
    if v.chain is False:
        return f"NOT VERIFIED: the chain of check codes does not fit {_whose(v)} key"
    if not v.whole:
        return f"NOT VERIFIED: {v.damage}"
    if v.chain is None:
        kind = "bench" if v.bench else "workshop"
        if v.known_key:
            return "NOT VERIFIED: recorded with another key, the demo's, and the replay decided otherwise"
        return f"NOT VERIFIED: {f'this computer has no {kind} key to check it with' if v.chained else f'it is not chained to a {kind} key'}"
    if v.same_kernels is False:
        return f"NOT VERIFIED: {other_kernels(v.by)}"
    if v.replay_identical is False:
        return "NOT VERIFIED: the replay decided otherwise"
    if v.replay_identical is None:
        return "NOT VERIFIED: no full-rate record to replay"
    return f"NOT VERIFIED: it does not name the kernels that decided; {_percent(v)} of it replayed to the same decisions with those of this host"


def verification_rows(v: Verification) -> tuple[tuple[str, str, str], ...]:
    """Return (key, name, text) of each check."""
    chain = {
        True: f"fits {_whose(v)} key",
        False: f"DOES NOT FIT {_whose(v)} key",
        None: "not checked: no key on this computer",
    }[v.chain]
    chain = "fits the demo's key, which is public" if v.known_key else chain
    replay = {
        True: "the same decisions",
        False: "OTHER DECISIONS",
        None: other_kernels(v.by) if v.same_kernels is False else "nothing to replay",
    }[v.replay_identical]
    lost = (
        f"; {_stretches(v.lost_spans)} lost their beginning to newer ticks and can only be read"
        if v.lost_spans
        else ""
    )
    return (
        ("verified", "Verdict", verdict_of(v)),
        ("whole", "Check codes", "whole" if v.whole else v.damage),
        (
            "chain",
            "Chain",
            chain if v.chained else "this inflator had no key: the record is not chained",
        ),
        (
            "replay",
            "Replay",
            f"{v.replay_ticks} ticks in {_stretches(v.replay_spans)}, {_percent(v)} of the record: {replay}{lost}",
        ),
    )


def _whose(v: Verification) -> str:
    return "this computer's bench" if v.bench else "this workshop's"


def _stretches(count: int) -> str:
    return f"{count} stretch" if count == 1 else f"{count} stretches"


def _percent(v: Verification) -> str:
    return f"{int(v.replay_share * 100 + 1e-9)} %"
