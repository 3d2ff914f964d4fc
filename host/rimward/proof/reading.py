"""Files of proof tests: CSV rows and recorded sessions, read together."""

from pathlib import Path

from rimward.proof import evidence, fromsession
from rimward.proof.load import Sample, read_rows


def read_files(paths: list[Path], unverified: bool = False) -> list[Sample]:
    """All samples of all files, in order. Refusal for the first unreadable row. `unverified` accepts records that fit no key here."""
    names = labels(paths)
    return [
        sample for path in paths for sample in read_file(path, names[path.absolute()], unverified)
    ]


def labels(paths: list[Path]) -> dict[Path, str]:
    """Name for each file, by absolute path: its own, with as many folders as needed to distinguish equal names."""
    files = list(dict.fromkeys(path.absolute() for path in paths))
    depth = 1
    while len({file.parts[-depth:] for file in files}) < len(files):
        depth += 1
    alike = {file: sum(other.name == file.name for other in files) > 1 for file in files}
    return {file: "/".join(file.parts[-depth:]) if alike[file] else file.name for file in files}


def read_file(path: Path, label: str = "", unverified: bool = False) -> list[Sample]:
    """Return the samples of one CSV file, or the one sample of a session file; `label` names it in messages and results."""
    if fromsession.is_session(path):
        return [evidence.read_sample(path, label, unverified)]
    return read_rows(path, label)
