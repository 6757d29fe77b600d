"""Several programs on one register: every acknowledged addition is there, and whoever waits is told for whom."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import Mock

import duckdb
import pytest

from calib.errors import RegisterError
from calib.register import gate
from calib.register.records import KnownUnit
from calib.register.register import Register, practice_register
from tests.warm import Begun

ADD = """
import sys
from calib.register.records import KnownUnit
from calib.register.register import Register
path, contributor, count, *cells = sys.argv[1:]
typed = dict(cell.split("=", 1) for cell in cells)
for number in range(int(count)):
    Register(path, wait=60).add(KnownUnit.parse({**typed, "unit": f"U-{number}", "contributor": contributor}))
    print(number, flush=True)
"""
HOLD = """
import sys, time
from pathlib import Path
from calib.register.gate import session
with session(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""
PRACTICE = "import sys; from calib.register.register import practice_register as p; print(p(sys.argv[1]).count())"


def adder(path: Path, contributor: str, count: int, typed: dict[str, str]) -> Begun:
    return Begun(ADD, str(path), contributor, str(count), *(f"{name}={value}" for name, value in typed.items()))


@pytest.fixture
def holder(tmp_path: Path) -> Iterator[Begun]:
    """A process that holds the register and does not let go."""
    path = Register(tmp_path / "club.duckdb").path
    process = Begun(HOLD, str(path))
    assert process.printed() == ["held"]
    yield process
    process.kill()


def test_two_writers_and_a_reader_at_once(tmp_path: Path, typed: dict[str, str]) -> None:
    register = Register(tmp_path / "club.duckdb", wait=60)
    writers = [adder(register.path, name, 5, typed) for name in ("Alder Lane", "Tin Street")]
    counts = []
    while any(writer.runs for writer in writers):
        counts.append(register.count())
    for writer in writers:
        done = writer.ended()
        assert (done.returncode, done.stdout.split()) == (0, [str(number) for number in range(5)]), done.stderr
    assert counts == sorted(counts)
    assert register.count() == 10


def test_many_processes_make_one_register_at_once(tmp_path: Path, typed: dict[str, str]) -> None:
    path = tmp_path / "club.duckdb"
    writers = [adder(path, f"Bench {number}", 1, typed) for number in range(6)]
    for writer in writers:
        done = writer.ended()
        assert done.returncode == 0, done.stderr
    assert Register(path).count() == 6
    assert [each.name for each in tmp_path.iterdir() if each.name.endswith(".new")] == []


def test_many_processes_make_the_practice_register_at_once(tmp_path: Path) -> None:
    path = tmp_path / "practice.duckdb"
    makers = [Begun(PRACTICE, str(path)) for _ in range(4)]
    told = [maker.ended() for maker in makers]
    assert {done.stdout.strip() for done in told} == {str(practice_register(path).count())}, told


def test_two_additions_of_one_unit_at_once_are_two_revisions(tmp_path: Path, typed: dict[str, str]) -> None:
    register = Register(tmp_path / "club.duckdb")
    writers = [
        adder(register.path, "Alder Lane", 1, {**typed, "rated_current_ma": current}) for current in ("90", "95")
    ]
    for writer in writers:
        done = writer.ended()
        assert done.returncode == 0, done.stderr
    history = register.history("Alder Lane", "U-0")
    assert history["revision"].tolist() == [1, 2]
    assert history["needs_review"].tolist() == [False, True]
    assert sorted(history["rated_current_ma"]) == [90.0, 95.0]


def test_threads_of_one_program(tmp_path: Path, typed: dict[str, str]) -> None:
    register = Register(tmp_path / "club.duckdb", wait=60)
    errors: list[Exception] = []

    def work(name: str) -> None:
        try:
            for number in range(2):
                register.add(KnownUnit.parse({**typed, "unit": f"U-{number}", "contributor": name}))
                register.known()
        except Exception as error:
            errors.append(error)

    threads = [threading.Thread(target=work, args=(f"Bench {number}",)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    assert register.count() == 8


def test_whoever_waits_too_long_is_told_who_holds_it(tmp_path: Path, holder: Begun) -> None:
    start = time.monotonic()
    with pytest.raises(RegisterError) as caught:
        Register(tmp_path / "club.duckdb", wait=0.5)
    assert time.monotonic() - start < 10
    said = str(caught.value).partition("club.duckdb: ")[2]
    assert said.startswith(f"it is busy; process {holder.pid} (python")
    assert said.endswith(") holds it, waited 0 s; close that program or try again")


def test_a_file_that_is_held_on_windows_is_busy_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = Register(tmp_path / "club.duckdb").path
    said = 'IO Error: Cannot open file "{}": …\nFile is already open in \nC:\\Python\\python.exe (PID 31)'
    monkeypatch.setattr(gate, "attach", Mock(side_effect=duckdb.IOException(said.format(path))))
    with pytest.raises(RegisterError, match=r"club\.duckdb: it is busy; process 31 .* holds it, waited 0 s; close"):
        Register(path, wait=0.1)


def test_whoever_waits_is_told_for_whom_while_he_waits(tmp_path: Path, holder: Begun) -> None:
    path, told = tmp_path / "club.duckdb", []

    def tell(text: str) -> None:
        told.append(text)
        holder.kill()  # were it told at the end only, the register would not be had

    with gate.patience(60, tell):
        assert Register(path, wait=60).count() == 0
    assert len(told) == 1
    assert told[0].startswith(f"waiting for process {holder.pid} (python")
    assert told[0].endswith(f"), which holds {path}; for 60 s at most")


def test_all_the_waiting_of_one_command_has_one_limit(
    tmp_path: Path, holder: Begun, monkeypatch: pytest.MonkeyPatch
) -> None:
    tries, attach = [], gate.attach
    monkeypatch.setattr(gate, "attach", lambda *words: (tries.append(words), attach(*words)))
    told: list[str] = []
    with gate.patience(0.7, told.append) as left:
        for most in (1000, 1, 1):  # the second and the third look once, and wait no more
            tries.clear()
            with pytest.raises(RegisterError, match=f"process {holder.pid} "):
                Register(tmp_path / "club.duckdb")
            assert left.left == 0.0
            assert 1 <= len(tries) <= most
    assert len(told) == 1


def test_a_register_is_free_again_when_its_holder_dies(tmp_path: Path, holder: Begun) -> None:
    holder.kill()
    assert Register(tmp_path / "club.duckdb", wait=5).count() == 0


def test_whoever_waits_behind_another_is_told_too(tmp_path: Path, holder: Begun) -> None:
    path, errors = tmp_path / "club.duckdb", []

    def wait(seconds: float) -> None:
        try:
            Register(path, wait=seconds)
        except RegisterError as error:
            errors.append(str(error))

    first = Begun(f"import sys\nfrom calib.register.register import Register\nRegister({str(path)!r}, wait=4)")
    time.sleep(1.5)
    wait(0.2)
    done = first.ended()
    assert len(errors) == 1
    assert f"process {holder.pid} (python" in errors[0]
    assert done.returncode == 1
