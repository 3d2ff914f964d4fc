"""The virtual inflator runs the kernels as machine code where its interpreter can, as the real board does; else it runs the plain ones."""

import pytest
from rimward.install import kernels
from rimward.simulation.scenario import Scenario, plant_of
from rimward.virtual import VirtualInflator, find_interpreter, machine_code
from rimward.virtual.interpreter import source_paths
from rimward.virtual.process import Firmware

SEEN = "import sys\nfrom rimward_fw.board import simulated\nguard, fill = simulated.Board.kernels(None)\nsys.stderr.write(guard.__name__ + ' ' + fill.__name__)\n"


@pytest.fixture
def said(tmp_path, monkeypatch):
    """Which kernels a firmware started as the virtual inflator starts it would run, by module name."""
    main = tmp_path / "main.py"
    main.write_text(SEEN)

    def ask(interpreter):
        protocol, firmware, _ = source_paths()
        monkeypatch.setattr("rimward.virtual.process.source_paths", lambda: (protocol, firmware, main))
        child = Firmware(interpreter, 0)
        while child.ended is None:
            pass
        words = child.last_words()
        child.close()
        return words

    return ask


def test_machine_code_on_micropython(said):
    assert said(find_interpreter()) == "machine_guard machine_fill"


def test_plain_ones_on_cpython(said):
    assert said(find_interpreter("cpython")) == "rimward_fw.kernels.guard rimward_fw.kernels.fill"


def test_plain_ones_where_they_cannot_be_read(said, monkeypatch, tmp_path):
    (tmp_path / "machine_fill.py").write_text("this is no program")
    monkeypatch.setattr(machine_code, "folder", lambda: tmp_path)
    assert said(find_interpreter()) == "rimward_fw.kernels.guard rimward_fw.kernels.fill"


def test_they_are_the_translation_of_the_files_that_run(tmp_path, monkeypatch):
    monkeypatch.setattr("platformdirs.user_cache_dir", lambda name: str(tmp_path))
    machine_code.folder.cache_clear()
    try:
        folder = machine_code.folder()
        (folder / "machine_guard.py").write_text("spoilt")
        machine_code.folder.cache_clear()
        assert machine_code.folder() == folder
        for name in kernels.KERNELS:
            assert (folder / f"machine_{name}.py").read_text() == kernels.translate(kernels.source(name), name, wide=True)
    finally:
        machine_code.folder.cache_clear()


def test_an_inflator_runs_with_them():
    with VirtualInflator(plant_of(Scenario())) as inflator:
        inflator.advance(1.0)
        assert inflator.firmware is not None and inflator.firmware.booted and inflator.restarts == 0
