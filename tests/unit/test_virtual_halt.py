"""When the plant continues without the firmware: stopped or hung, yes; starved by a busy machine, no."""

import os
import signal
import subprocess
import sys
import time

import pytest
from rimward.simulation.scenario import Scenario, plant_of
from rimward.simulation.virtual import VirtualInflator
from rimward.simulation.virtual.process import run_time


def test_process_states_as_reported_by_the_system() -> None:
    with subprocess.Popen([sys.executable, "-c", "while True: pass"]) as spinning:
        state, ran_s = "", 0.0
        while ran_s < 0.2:  # past its own start
            time.sleep(0.05)
            state, ran_s = run_time(spinning.pid)
        assert state == "R"
        os.kill(spinning.pid, signal.SIGSTOP)
        time.sleep(0.1)
        stopped = run_time(spinning.pid)
        time.sleep(0.2)
        assert stopped[0] == "T" and run_time(spinning.pid) == stopped
        spinning.kill()
    assert run_time(spinning.pid) == ("", 0.0)


def test_a_stopped_process_is_reported_after_50_ms() -> None:
    with VirtualInflator(plant_of(Scenario())) as inflator:
        inflator.advance(0.5)
        assert inflator.firmware is not None and inflator.firmware.halted_ticks == 0
        inflator.firmware.halt()
        begun = time.monotonic()
        inflator.tick()
        assert time.monotonic() - begun > 0.045
        assert inflator.firmware.halted_ticks == 1
        inflator.firmware.go_on()


def test_a_starved_process_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """The system says that it is ready to run and has not run; then its answer comes after all."""
    from rimward.simulation.virtual import process

    with VirtualInflator(plant_of(Scenario())) as inflator:
        inflator.advance(0.5)
        firmware = inflator.firmware
        assert firmware is not None
        asked = []

        def starved(pid: int) -> tuple[str, float]:
            asked.append(pid)
            if len(asked) == 3:
                firmware.go_on()
            return "R", 1.0

        monkeypatch.setattr(process, "run_time", starved)
        firmware.halt()
        inflator.tick()
        assert len(asked) == 3 and firmware.halted_ticks == 0


def test_a_hung_process_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """The system says that it runs and runs."""
    from rimward.simulation.virtual import process

    with VirtualInflator(plant_of(Scenario())) as inflator:
        inflator.advance(0.5)
        assert inflator.firmware is not None
        ran = iter(n * 0.05 for n in range(100))
        monkeypatch.setattr(process, "run_time", lambda pid: ("R", next(ran)))
        inflator.firmware.halt()
        inflator.tick()
        assert inflator.firmware.halted_ticks == 1
        inflator.firmware.go_on()
