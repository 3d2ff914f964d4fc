"""What of a session could be checked, and the one line that says so wherever a session is shown."""

from collections.abc import Sequence
from dataclasses import dataclass

from rimward_protocol import kernel_words, sessionread
from rimward_protocol.mac import hmac_sha256

from rimward.errors import Refusal
from rimward.sessions.log import SessionLog

OTHER_KERNELS = "recorded by another version of the firmware's kernels; replay it with the host of that version"
KERNEL_WORDS = (("g", kernel_words.GUARD_STATE), ("x", kernel_words.GUARD_INPUT), ("f", kernel_words.FILL_STATE), ("y", kernel_words.FILL_INPUT))


@dataclass(frozen=True)
class Verification:
    """What could be checked. `chain` is True or False where a key was at hand, None where none was or nothing is chained."""

    whole: bool
    damage: str
    chained: bool
    chain: bool | None
    same_kernels: bool
    replay_identical: bool | None
    replay_ticks: int
    replay_spans: int
    replay_share: float
    lost_spans: int
    bench: bool = False

    @property
    def holds(self) -> bool:
        """Check codes whole, chain checked with the inflator's or the bench's key, and all that was kept at full rate replayed to the same decisions."""
        return self.whole and self.chain is True and self.replay_identical is True


def recorded_by_ours(log: SessionLog) -> bool:
    """Whether a record's kernels have as many words as those of this host, so that it can be replayed here."""
    return all(log.header[f"words_{name}"] == len(names) for name, names in KERNEL_WORDS)


def verify(log: SessionLog, raw: bytes | None, keys: Sequence[bytes] = (), check: bool = True) -> Verification:
    """Check codes, chain and replay of a session."""
    from rimward.sessions.replay import replay

    chain = None
    if log.chained and keys and raw is not None:
        chain = any(sessionread.chain_holds(raw, hmac_sha256(key, b"session")) for key in keys)
    ours = recorded_by_ours(log)
    again = replay(log) if check and ours else None
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
    )


def _share(log: SessionLog, ticks: int) -> float:
    """How much of the record, from its first tick to its last, was kept at full rate and replayed."""
    series = log.series()
    whole = int(series["tick"][-1] - series["tick"][0]) + 1 if len(series) else 0
    return round(min(1.0, ticks / whole), 4) if whole else 0.0


def workshop_keys(purpose: str = "workshop") -> tuple[bytes, ...]:
    """This computer's keys, newest first; none where there are none or they cannot be read."""
    from rimward import keys

    try:
        return tuple(key.key for key in keys.load(purpose).keys)
    except Refusal:
        return ()


def keys_for(log: SessionLog) -> tuple[bytes, ...]:
    """The keys that a record's chain is checked with: the bench's for a proof bench's record, else the workshop's."""
    return workshop_keys("bench" if log.bench else "workshop")


def verdict_of(v: Verification) -> str:
    """The verification in one line."""
    if v.holds:
        return f"verified: whole, and {_percent(v)} of it replayed to the same decisions"
    if v.chain is False:
        return f"NOT VERIFIED: the chain of check codes does not fit {_whose(v)} key"
    if not v.whole:
        return f"NOT VERIFIED: {v.damage}"
    if v.chain is None:
        kind = "bench" if v.bench else "workshop"
        return f"NOT VERIFIED: {f'this computer has no {kind} key to check it with' if v.chained else f'it is not chained to a {kind} key'}"
    if not v.same_kernels:
        return f"NOT VERIFIED: {OTHER_KERNELS}"
    return "NOT VERIFIED: the replay decided otherwise" if v.replay_identical is False else "NOT VERIFIED: no full-rate record to replay"


def verification_rows(v: Verification) -> tuple[tuple[str, str, str], ...]:
    """(key, name, text) of each check."""
    chain = {True: f"fits {_whose(v)} key", False: f"DOES NOT FIT {_whose(v)} key", None: "not checked: no key here that it could be checked with"}[v.chain]
    replay = {True: "the same decisions", False: "OTHER DECISIONS", None: "nothing to replay" if v.same_kernels else OTHER_KERNELS}[v.replay_identical]
    lost = f"; {_stretches(v.lost_spans)} gave the beginning up for newer ticks and can only be read" if v.lost_spans else ""
    return (
        ("verified", "Verdict", verdict_of(v)),
        ("whole", "Check codes", "whole" if v.whole else v.damage),
        ("chain", "Chain", chain if v.chained else "this inflator had no key: the record is not chained"),
        ("replay", "Replay", f"{v.replay_ticks} ticks in {_stretches(v.replay_spans)}, {_percent(v)} of the record: {replay}{lost}"),
    )


def _whose(v: Verification) -> str:
    return "this computer's bench" if v.bench else "this workshop's"


def _stretches(count: int) -> str:
    return f"{count} stretch" if count == 1 else f"{count} stretches"


def _percent(v: Verification) -> str:
    return f"{int(v.replay_share * 100 + 1e-9)} %"
