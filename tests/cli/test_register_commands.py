"""``calib add``, ``import`` and ``export``: into the register and out of it, several at once, and what prevents it."""

from __future__ import annotations

import csv
import json
import os
import re
import signal
import subprocess
from datetime import datetime, timedelta
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

import calib as package
from calib.cli import main as command
from calib.register.register import Register
from calib.session.interpret import interpret
from tests.app.bench_visits import with_more
from tests.cli.conftest import Run
from tests.cli.tables import HEADER, ROWS, spoiled, table
from tests.warm import COMMAND, Begun

OPTIONS = {
    "--unit": "QB 7",
    "--contributor": "Quarry Bank",
    "--evidence": "nameplate",
    "--rectifier": "full-wave",
    "--filter": "capacitor",
    "--rated-current-ma": "90",
    "--line-voltage-v": "117",
    "--line-frequency-hz": "60",
    "--centre-tapped": "TRUE",
    "--no-load-v": "640",
    "--hv-resistance-ohm": "182",
    "--winding-temp-c": "-2.5",
}
COLD = "note: QB 7: winding_temp_c: -2.5 °C is unusual: most are 5 to 40 °C"


def words_of(options: dict[str, str]) -> list[str]:
    return [word for pair in options.items() for word in pair]


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_add_makes_the_register_and_keeps_what_was_typed(calib: Run, tmp_path: Path) -> None:
    done = calib("add", "--register", "club.duckdb", *words_of(OPTIONS), "--by", "Alder Lane", "--reason", "found")
    assert (done.returncode, done.stderr.splitlines()) == (0, [COLD])
    with package.Register(tmp_path / "club.duckdb") as register:
        row = register.known().iloc[0]
        revision = register.revisions().iloc[0]
    assert (row["unit"], row["contributor"], row["rated_current_ma"]) == ("QB 7", "Quarry Bank", 90.0)
    assert (row["winding_temp_c"], bool(row["centre_tapped"]), row["notes"]) == (-2.5, True, "")
    assert (revision["by"], revision["reason"]) == ("Alder Lane", "found")


def test_what_is_improbable_is_asked_for_and_added_all_the_same(called: Run, tmp_path: Path) -> None:
    """0.1 A typed for 100 mA, 70 °F for °C, and 0.212 kilohm for ohms: by option and by table."""
    here = ("--register", "club.duckdb")
    done = called("add", *here, *words_of(OPTIONS | {"--winding-temp-c": "70", "--rated-current-ma": "0.1"}))
    assert done.returncode == 0
    assert done.stdout.startswith("1 added")
    lines = done.stderr.splitlines()
    assert len(lines) == 3
    assert lines[0].startswith(
        "note: QB 7: rated_current_ma: 0.1 mA is unusual: most are 5 to 1000 mA; did you mean 10 mA "
        "(the decimal point slipped by 2 places) or 100 mA (typed in amperes)?"
    )
    assert lines[1].startswith(
        "note: QB 7: winding_temp_c: 70 °C is unusual: most are 5 to 40 °C; did you mean 21.111 °C"
    )
    assert lines[2].startswith("note: QB 7: rated_current_ma: 0.1 mA is 0.0")
    rows = (ROWS[1], spoiled(HEADER, ROWS[0], "hv_resistance_ohm", "0.212"))
    done = called("import", str(table(tmp_path / "known.csv", HEADER, *rows)), *here)
    assert (done.returncode, done.stdout[:7]) == (0, "2 added")
    lines = done.stderr.splitlines()
    assert lines[0] == (
        f"note: {tmp_path / 'known.csv'}, row 3, AL 1: hv_resistance_ohm: 0.212 ohm is unusual: "
        "most are 5 to 10000 ohm; did you mean 21.2 ohm (the decimal point slipped by 2 places) or 212 ohm "
        "(typed in kilohms)?"
    )
    assert "row 3, AL 1: rated_current_ma: 70 mA is 0.0" in lines[1]
    assert len(lines) == 2


@pytest.mark.parametrize("way", ["add", "import"])
def test_a_unit_that_the_bench_stopped_is_not_brought_in_until_that_is_cleared(
    called: Run, tmp_path: Path, way: str
) -> None:
    with package.Register(tmp_path / "club.duckdb") as register:
        low = with_more(insulation={"megohm_1": 3.0}, look={"tag": "AL 1"})
        session = register.keep_session("AL 1", low, "sum", contributor="Alder Lane").session_id
    rows = table(tmp_path / "known.csv", HEADER, *ROWS)
    alder = OPTIONS | {"--unit": "AL 1", "--contributor": "Alder Lane"}
    words = words_of(alder) if way == "add" else [str(rows)]
    done = called(way, "--register", "club.duckdb", *words)
    assert (done.returncode, done.stdout) == (2, "")
    (line,) = done.stderr.splitlines()
    assert "unit 'AL 1': its bench session says stop, feed nothing: Insulation: stop until explained" in line
    assert line.endswith("; clear it there with the reason first, or leave the unit out")
    with package.Register(tmp_path / "club.duckdb") as register:
        assert register.count() == 0
        low["ratio"] |= {"explained": "dried: 400 Mohm", "explained_stops": interpret(low).said("stop")}
        register.keep_session("AL 1", low, "sum", contributor="Alder Lane", session_id=session)
    assert called(way, "--register", "club.duckdb", *words).returncode == 0


def test_a_command_says_whom_it_waits_for_while_it_waits(
    called: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package.Register(tmp_path / "club.duckdb")
    hold = "import sys, time, pathlib\nfrom calib.register.gate import session\n"
    hold += "with session(pathlib.Path(sys.argv[1])):\n print(flush=True)\n time.sleep(600)"
    holder = Begun(hold, str(tmp_path / "club.duckdb"))
    holder.printed()
    said: list[str] = []

    def let_go_once_told(text: str) -> None:
        said.append(text)
        holder.kill()

    monkeypatch.setattr(command, "note", let_go_once_told)
    assert called("add", "--register", "club.duckdb", *words_of(OPTIONS)).returncode == 0
    assert len(said) == 1
    assert said[0].startswith(f"waiting for process {holder.pid} (python")
    assert said[0].endswith("club.duckdb; for 15 s at most")


def test_a_register_is_copied_read_through_and_put_back_from_the_copy(called: Run, tmp_path: Path) -> None:
    here, there = ("--register", "club.duckdb"), tmp_path / "club.duckdb"
    assert called("add", *here, *words_of(OPTIONS)).returncode == 0
    done = called("backup", "copy.duckdb", *here)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"copied {there} to {tmp_path / 'copy.duckdb'}, and read the copy through: it is the same\n"
    done = called("check", *here)
    assert (done.returncode, done.stderr) == (0, "")
    assert "known units: 1; read through: revisions of known units 1" in done.stdout
    assert done.stdout.endswith("nothing is wrong with it\n")
    raw = there.read_bytes()
    there.write_bytes(raw[:300_000] + bytes(byte ^ 255 for byte in raw[300_000:300_100]) + raw[300_100:])
    done = called("check", *here)
    assert done.returncode == 1
    assert "cannot be read: it is damaged; restore it from a backup" in done.stdout
    assert done.stderr.startswith(f"calib: {there}: ")
    assert done.stderr.endswith("wrong with it, told above with what to do\n")
    done = called("restore-from", "copy.duckdb", *here)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith(f"restored {there} from copy.duckdb; known units: 1; what was there is now ")
    assert Path(done.stdout.strip().rpartition("is now ")[2]).read_bytes()[:300_000] == raw[:300_000]
    assert called("check", *here).returncode == 0
    for words in (
        ("check", "--register", "none.duckdb"),
        ("backup", "copy.duckdb", *here),
        ("backup", "more.duckdb", "--register", "none.duckdb"),
        ("restore-from", "none.duckdb", *here),
        ("restore-from", "club.duckdb", *here),
    ):
        done = called(*words)
        assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1)
    assert not (tmp_path / "none.duckdb").exists()
    assert not (tmp_path / "more.duckdb").exists()


def test_add_uses_the_register_in_the_environment(calib: Run, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere.duckdb"
    assert calib("add", *words_of(OPTIONS), env={"CALIB_REGISTER": str(elsewhere)}).returncode == 0
    assert elsewhere.exists()


def test_add_uses_the_user_s_own_data_folder_where_nothing_is_named(calib: Run, tmp_path: Path) -> None:
    assert calib("add", *words_of(OPTIONS)).returncode == 0
    assert len(list(tmp_path.rglob("register.duckdb"))) == 1


def test_add_reads_numbers_as_people_write_them_and_says_so(called: Run, tmp_path: Path) -> None:
    typed = {"--no-load-v": "640,5 V", "--hv-resistance-ohm": "0,182 k", "--tongue-mm": "1 1/8 in", "--stack-mm": "31"}
    done = called("add", "--register", "club.duckdb", *words_of(OPTIONS | typed))
    assert done.returncode == 0
    assert done.stderr.splitlines() == [
        "note: --no-load-v: Read as 640.5 V.",
        "note: --hv-resistance-ohm: 0.182 kΩ is 182 Ω.",
        "note: --tongue-mm: 1 1/8 in is 28.575 mm.",
        COLD,
    ]
    with package.Register(tmp_path / "club.duckdb") as register:
        row = register.known().iloc[0]
    assert [row[name] for name in ("no_load_v", "hv_resistance_ohm", "tongue_mm")] == [640.5, 182.0, 28.575]


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("70,5", "rated_current_ma: '70,5' is 70.5"),
        ("0,07 A", "rated_current_ma: '0,07 A' is 70"),
        ("1,500", "write 1.5 or 1500, or say which mark stands before decimals"),
    ],
)
def test_a_number_of_another_country_is_told_or_refused_until_its_mark_is_said(
    called: Run, tmp_path: Path, typed: str, told: str
) -> None:
    cells = ",".join(f'"{typed}"' if cell == "70" else cell for cell in ROWS[0].split(","))
    known = str(table(tmp_path / "known.csv", HEADER, cells))
    done = called("import", known, "--register", "club.duckdb")
    assert told in done.stderr
    assert done.returncode == (2 if typed == "1,500" else 0)
    if typed == "1,500":
        assert f"rated_current_ma '{typed}': may be two numbers; " in done.stderr
        assert "is 1500" in called("import", known, "--register", "club.duckdb", "--decimal", "point").stderr


def test_what_was_understood_is_told_once_and_remembered(called: Run, tmp_path: Path) -> None:
    cells = [row.replace(",", ";").replace(".", ",") for row in ROWS]
    known = str(table(tmp_path / "known.csv", HEADER.replace(",", ";").upper(), *cells))
    first = called("import", known, "--register", "club.duckdb")
    for told in ("the cells are parted by semicolons", "the mark before decimals is a comma", "in other letters"):
        assert told in first.stderr
    again = called("import", known, "--register", "club.duckdb")
    assert again.stderr == f"note: {known}: 3 things are read as in the last table of this header\n"
    plain = called("import", str(table(tmp_path / "plain.csv", HEADER, *ROWS)), "--register", "club.duckdb")
    assert (plain.stderr, plain.stdout.split(";")[0]) == ("", f"0 added, {len(ROWS)} there already, 0 revised")


def test_a_blank_table_is_written_once_and_explained(called: Run, tmp_path: Path) -> None:
    done = called("import", "--template", "blank.csv")
    assert "hv_resistance_ohm: needed; 0.001 to 1000000 ohm; " in done.stdout
    assert "conductor: copper, aluminium; " in done.stdout
    header = (tmp_path / "blank.csv").read_text()
    assert len(package.read_known(tmp_path / "blank.csv")) == 0
    again = called("import", "--template", "blank.csv")
    assert (again.returncode, header) == (2, (tmp_path / "blank.csv").read_text())
    assert "there is a file of that name; name a new one" in again.stderr
    assert "no table is named" in called("import").stderr
    assert "a table is named too" in called("import", "a.csv", "--template", "b.csv").stderr


@pytest.mark.parametrize(
    ("option", "value", "problem"),
    [
        ("--rated-current-ma", "90 V", "rated_current_ma '90 V': has 'V' behind it, which is no unit of this reading"),
        ("--rated-current-ma", "1,234", "rated_current_ma '1,234': may be 1.234 or 1234; write 1.234 or 1234"),
        ("--awg", "30 SWG", "awg '30 SWG': has 'SWG' behind it"),
        ("--rated-current-ma", "0", "rated_current_ma '0': is outside the limits, 0.1 to 100000 mA"),
        ("--hv-resistance-ohm", "nan", "hv_resistance_ohm 'nan': is not a number"),
        ("--centre-tapped", "yes", "centre_tapped 'yes': is not true or false"),
        ("--centre-tapped", "false", "centre_tapped 'false': does not go with rectifier full-wave"),
        ("--evidence", "hearsay", "evidence 'hearsay': is not one of the choices"),
        ("--unit", "", "unit (empty): is needed"),
    ],
)
def test_a_wrong_option_is_one_line_and_makes_no_register(
    called: Run, tmp_path: Path, option: str, value: str, problem: str
) -> None:
    done = called("add", "--register", "club.duckdb", *words_of(OPTIONS | {option: value}))
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert done.stderr.startswith("calib add, ")
    assert problem in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_every_option_that_is_missing_is_named(called: Run, tmp_path: Path) -> None:
    done = called("add", "--register", "club.duckdb")
    needed = [option.removeprefix("--").replace("-", "_") for option in OPTIONS]
    assert done.returncode == 2
    assert [line.split(", ")[1].split(" ")[0] for line in done.stderr.splitlines()] == sorted(
        needed, key=HEADER.split(",").index
    )


def test_export_gives_back_what_import_brought(calib: Run, known: Path, tmp_path: Path) -> None:
    done = calib("import", str(known), "--register", "club.duckdb")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("4 added, 0 there already, 0 revised; the register club.duckdb holds 4 known units")
    done = calib("export", "out", "--register", "club.duckdb")
    assert (done.returncode, done.stderr) == (0, "")
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "datapackage.json",
        "known.csv",
        "revisions.csv",
    ]
    given, back = package.read_known(known), package.read_known(tmp_path / "out" / "known.csv")
    by = ["contributor", "unit"]
    assert back.sort_values(by, ignore_index=True).equals(given.sort_values(by, ignore_index=True))
    assert len(rows_of(tmp_path / "out" / "revisions.csv")) == 4


def test_the_sheets_of_a_core_are_added_handed_out_and_brought_in_again(called: Run, tmp_path: Path) -> None:
    core = {"--tongue-mm": "20", "--stack-mm": "27", "--lamination": "m"}
    window = {"--window-width-mm": "12,5", "--window-height-mm": "45 mm"}
    assert called("add", "--register", "club.duckdb", *words_of(OPTIONS | core | window)).returncode == 0
    assert called("export", "out", "--register", "club.duckdb").returncode == 0
    (row,) = rows_of(tmp_path / "out" / "known.csv")
    assert [row[name] for name in ("lamination", "window_width_mm", "window_height_mm")] == ["m", "12.5", "45"]
    assert called("import", "out/known.csv", "--register", "again.duckdb").returncode == 0
    done = called("add", "--register", "club.duckdb", *words_of(OPTIONS | core | {"--lamination": "M"}))
    assert (
        "lamination 'M': is not one of the choices; write one of: ei-scrapless, m, ui, strip-wound, other"
        in done.stderr
    )


def test_a_wrong_table_brings_nothing_in_and_makes_no_register(calib: Run, tmp_path: Path) -> None:
    wrong = spoiled(HEADER, spoiled(HEADER, ROWS[2], "evidence", "rumour"), "rated_current_ma", "1e9")
    table(tmp_path / "wrong.csv", HEADER, *ROWS[:2], wrong, ROWS[3])
    done = calib("import", "wrong.csv", "--register", "club.duckdb")
    assert (done.returncode, done.stdout) == (2, "")
    told = done.stderr.splitlines()
    assert [line.split(": ")[0] for line in told] == [
        "wrong.csv, row 4, evidence 'rumour'",
        "wrong.csv, row 4, rated_current_ma '1e9'",
    ]
    assert [path.name for path in tmp_path.iterdir()] == ["wrong.csv"]


def test_a_new_register_is_of_the_kind_of_its_first_table(called: Run, known: Path, tmp_path: Path) -> None:
    practice = table(tmp_path / "practice.csv", f"{HEADER},simulated", *(f"{row},true" for row in ROWS))
    assert called("import", str(practice), "--register", "practice.duckdb").returncode == 0
    assert package.Register(tmp_path / "practice.duckdb").is_simulated
    done = called("import", str(known), "--register", "practice.duckdb")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "practice.duckdb is a register of simulated records" in done.stderr
    assert package.Register(tmp_path / "practice.duckdb").count() == 4


def test_a_table_of_both_kinds_begins_no_register(called: Run, tmp_path: Path) -> None:
    mixed = table(tmp_path / "mixed.csv", f"{HEADER},simulated", f"{ROWS[0]},true", *(f"{row}," for row in ROWS[1:]))
    done = called("import", str(mixed), "--register", "club.duckdb")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "1 of the 4 records are simulated, and the others are not; bring them in as two tables" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["mixed.csv"]


def test_a_second_reading_that_differs_is_kept_and_told(called: Run, known: Path, tmp_path: Path) -> None:
    later = table(tmp_path / "later.csv", HEADER, spoiled(HEADER, ROWS[0], "hv_resistance_ohm", "215"), *ROWS[1:])
    assert called("import", str(known), "--register", "club.duckdb").returncode == 0
    done = called("import", str(later), "--register", "club.duckdb", "--by", "Alder Lane")
    assert done.stdout == "0 added, 3 there already, 1 revised; the register club.duckdb holds 4 known units\n"
    assert done.stderr.startswith("note: ")
    assert "AL 1" in done.stderr


def test_a_table_that_is_missing_makes_no_register(called: Run, tmp_path: Path) -> None:
    done = called("import", "gone.csv", "--register", "club.duckdb")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "gone.csv: cannot be read, there is no such file" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", [("export", "out"), ("import", "known.csv"), ("fit",)])
def test_a_folder_is_no_register(called: Run, known: Path, tmp_path: Path, command: tuple[str, ...]) -> None:
    done = called(*command, "--register", str(tmp_path))
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert f"--register '{tmp_path}': is a folder; name the register's file" in done.stderr


def test_export_of_a_register_that_is_not_there_is_one_line(called: Run, tmp_path: Path) -> None:
    done = called("export", "out", "--register", "club.duckdb")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "--register 'club.duckdb': there is no register" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "words", [("fit",), ("export", "out"), ("import", "known.csv"), ("add", *words_of(OPTIONS)), ("page",)]
)
def test_a_damaged_register_is_one_line_and_status_1(
    calib: Run, known: Path, tmp_path: Path, words: tuple[str, ...]
) -> None:
    damaged = tmp_path / "club.duckdb"
    damaged.write_bytes(b"this is no register" * 1000)
    done = calib(*words, "--register", str(damaged))
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (1, "", 1)
    assert str(damaged) in done.stderr
    assert damaged.read_bytes() == b"this is no register" * 1000


def test_several_that_start_at_once_lose_nothing(home: dict[str, str], tmp_path: Path) -> None:
    """Three imports and an add begin together on a register that none of them finds there yet."""
    commands = []
    for bench in range(3):
        rows = [row.replace(row.split(",")[1], f"Bench {bench}") for row in ROWS]
        commands.append(["import", str(table(tmp_path / f"known-{bench}.csv", HEADER, *rows))])
    commands += [["add", *words_of(OPTIONS | {"--unit": tag})] for tag in ("QB 7",)]
    here = ("--register", "club.duckdb")
    running = [Begun(COMMAND, *words, *here, cwd=tmp_path, env=home) for words in commands]
    for one in running:
        done = one.ended()
        said = done.stderr
        assert done.returncode == 0, said
        told = ("note: waiting for ", "note: QB 7: winding_temp_c: -2.5 °C is unusual")
        assert all(line.startswith(told) for line in said.splitlines()), said
    with package.Register(tmp_path / "club.duckdb") as register:
        assert register.count() == len(register.known()) == 3 * len(ROWS) + 1


def test_a_register_in_a_folder_that_cannot_be_is_one_line(called: Run, known: Path) -> None:
    done = called("import", str(known), "--register", f"{known}/club.duckdb")
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (1, "", 1)
    assert str(known) in done.stderr


@pytest.mark.parametrize(
    ("moment", "said", "there"),
    [
        ("calib.register.tables.read_known", "nothing was written", -1),
        ("calib.register.revisions.bring", "the rows are not in, none of them", 0),
        ("calib.cli.exchange_commands.told", "the rows are in, all of them", 4),
    ],
)
def test_an_interruption_says_whether_the_rows_are_in(
    called: Run, known: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: str, said: str, there: int
) -> None:
    module, name = moment.rsplit(".", 1)
    work = getattr(import_module(module), name)

    def interrupted(*words: Any, **more: Any) -> Any:
        work(*words, **more)
        os.kill(os.getpid(), signal.SIGINT)

    monkeypatch.setattr(moment, interrupted)
    register = tmp_path / "club.duckdb"
    done = called("import", str(known), "--register", str(register))
    monkeypatch.undo()
    assert (done.returncode, done.stderr.count("\n")) == (130, 1)
    assert done.stderr.startswith(f"calib: interrupted; {said}")
    assert (Register(register).count() if register.exists() else -1) == there


def test_what_is_in_is_told_as_done_where_standard_output_is_full(calib: Run, known: Path, tmp_path: Path) -> None:
    with open("/dev/full", "w") as full:
        done = calib("import", str(known), capture_output=False, stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 0
    assert "4 added" in done.stderr
    assert "No space left" in done.stderr


def test_nothing_is_made_where_who_brings_it_is_refused(called: Run, known: Path, tmp_path: Path) -> None:
    register = tmp_path / "club.duckdb"
    done = called("import", str(known), "--register", str(register), "--by", "two\nlines")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "--by" in done.stderr
    assert not register.exists()


def test_a_table_is_piped_in_once(calib: Run, known: Path, tmp_path: Path) -> None:
    done = calib("import", "-", input=known.read_text(encoding="utf-8"))
    assert (done.returncode, done.stderr) == (0, "")
    assert "4 added" in done.stdout


@pytest.mark.parametrize("name", ["pipe", "/dev/zero"])
@pytest.mark.parametrize("way", ["table", "register", "out"])
def test_a_pipe_or_a_device_is_no_table_and_no_register(
    called: Run, known: Path, tmp_path: Path, name: str, way: str
) -> None:
    os.mkfifo(tmp_path / "pipe")
    words = {
        "table": ("import", name),
        "register": ("import", str(known), "--register", name),
        "out": ("estimate", "--known", str(known), "--unknown", str(known), "--out", name),
    }[way]
    done = called(*words)
    assert done.returncode == 2
    assert "is a pipe" in done.stderr or "is a device" in done.stderr


def test_a_cell_can_do_nothing_to_the_terminal_and_is_cut(called: Run, known: Path) -> None:
    header, *rows = known.read_text(encoding="utf-8").splitlines()
    evil = "\x1b]52;c;Zm9v\x07\u202e" + "x" * 2_000_000
    known.write_text("\n".join([header, rows[0].replace("nameplate", evil), *rows[1:]]) + "\n", encoding="utf-8")
    done = called("import", str(known))
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert len(done.stderr) < 1500
    assert done.stderr.rstrip("\n").isprintable()
    assert "\\x1b" in done.stderr
    assert "2000" in done.stderr


ONE = ("--contributor", "Quarry Bank", "--register", "club.duckdb")


@pytest.fixture
def kept(called: Run, tmp_path: Path) -> Run:
    """The command beside a register that holds one unit, QB 7."""
    added = called("add", "--register", "club.duckdb", *words_of(OPTIONS | {"--notes": "- <b>plate</b>"}))
    assert added.returncode == 0, added.stderr
    return called


def history_of(run: Run, unit: str = "QB 7") -> list[dict[str, Any]]:
    done = run("history", unit, *ONE, "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    found: list[dict[str, Any]] = json.loads(done.stdout)
    return found


def test_a_record_is_amended_withdrawn_and_restored_and_its_history_tells_all_of_it(kept: Run) -> None:
    change = ("--rated-current-ma", "0,095 A", "--notes", "")
    done = kept("amend", "QB 7", *ONE, *change, "--why", "the plate\u202e says 95", "--by", "Alder Lane")
    assert (done.returncode, done.stderr.splitlines()) == (0, ["note: --rated-current-ma: 0.095 A is 95 mA.", COLD])
    assert done.stdout == "amended QB 7 of Quarry Bank: rated_current_ma 90 -> 95, notes - <b>plate</b> -> (blank)\n"
    assert kept("withdraw", "QB 7", *ONE, "--why", "shorted").returncode == 0
    done = kept("restore", "QB 7", *ONE, "--why", "it was not")
    assert done.stdout.startswith("restored QB 7 of Quarry Bank, rated 95 mA")
    assert kept("restore", "QB 7", *ONE, "--why", "it was 90", "--revision", "1").returncode == 0
    first, amended, withdrawn, restored, back = history_of(kept)
    assert list(first) == ["revision", "action", "made_at", "by", "reason", "needs_review", "changed"]
    assert datetime.fromisoformat(first["made_at"]).utcoffset() == timedelta(0)
    assert amended["changed"] == [
        {"column": "rated_current_ma", "before": 90.0, "after": 95.0},
        {"column": "notes", "before": "- <b>plate</b>", "after": None},
    ]
    assert [one["action"] for one in (withdrawn, restored, back)] == ["withdraw", "restore", "restore"]
    assert [one["by"] for one in (first, amended, withdrawn)] == [None, "Alder Lane", "Quarry Bank"]
    assert [one["changed"] for one in (first, withdrawn, restored)] == [[], [], []]
    assert back["changed"][0] == {"column": "rated_current_ma", "before": 95.0, "after": 90.0}
    said = kept("history", "QB 7", *ONE).stdout.splitlines()
    assert re.fullmatch(r"1  \d{4}-\d\d-\d\d \d\d:\d\d:\d\d UTC  add  by \(not told\)", said[0])
    assert said[1].endswith(r"amend  by Alder Lane: the plate\u202e says 95")
    assert said[2:4] == ["   rated_current_ma: 90 -> 95", "   notes: - <b>plate</b> -> (blank)"]


def test_a_record_is_called_right_all_the_same_for_a_reason_only(kept: Run) -> None:
    """A bare yes is none, whichever way the record is written; a reason goes into its history."""
    words = words_of(OPTIONS | {"--unit": "QB 8"})
    for way in (("add", *words, "--register", "club.duckdb"), ("amend", "QB 7", *ONE, "--why", "x")):
        done = kept(*way, "--kept", "Yes")
        assert (done.returncode, done.stdout) == (2, "")
        assert "kept 'Yes': tells no reason; say what was looked at" in done.stderr
    assert kept("add", *words, "--register", "club.duckdb", "--kept", "read again by two").returncode == 0
    assert history_of(kept, "QB 8")[0]["reason"] == "read again by two"


def test_an_amendment_passes_the_check_of_a_new_record_and_what_it_is_not_told_stays(kept: Run) -> None:
    amend = ("amend", "QB 7", *ONE, "--why", "read again")
    faults = {
        ("--rated-current-ma", "lots", "--winding-temp-c", "900"): [
            "calib amend, rated_current_ma 'lots': is not a number",
            "calib amend, winding_temp_c '900': is outside the limits",
        ],
        ("--rectifier", "bridge", "--no-load-v", ""): ["calib amend, no_load_v (empty): "],
        ("--simulated", "true"): ["simulated 'true': the record is simulated but club.duckdb is a register of real"],
        (): ["calib amend: nothing to amend; give an option for each column"],
    }
    for words, begins in faults.items():
        done = kept(*amend, *words)
        lines = done.stderr.splitlines()
        assert (done.returncode, done.stdout, len(lines)) == (2, "", len(begins)), lines
        assert [line[: len(start)] for line, start in zip(lines, begins, strict=True)] == begins
    assert (
        kept(*amend, "--rated-current-ma", "90").stdout
        == "QB 7 of Quarry Bank has these values already: nothing was changed\n"
    )
    assert len(history_of(kept)) == 1


WRONG = {
    ("amend", "QB 8", *ONE, "--why", "x", "--notes", "y"): "no such unit of Quarry Bank; there is 'QB 7' of Quarry",
    ("withdraw", "qb7", *ONE, "--why", "x"): "the register has no such unit of Quarry Bank; there is 'QB 7'",
    ("restore", "zz", *ONE, "--why", "x"): "unit 'zz': the register has no such unit of Quarry Bank; look the unit",
    ("history", "<b>", *ONE): "unit '<b>': the register has no such unit",
    ("restore", "QB 7", *ONE, "--why", "x"): "unit 'QB 7': the unit of Quarry Bank was not withdrawn",
    ("restore", "QB 7", *ONE, "--why", "x", "--revision", "-1"): "--revision '-1': is no revision's number",
    ("restore", "QB 7", *ONE, "--why", "x", "--revision", "7"): "revision '7': the record has no such revision",
    ("withdraw", "QB 7", *ONE, "--why", " "): "command line, --why (empty): is needed; say why",
    ("withdraw", "QB 7", *ONE, "--why", "a\nb"): "--why 'a b': runs over more than one line",
    ("withdraw", "QB 7", *ONE): "calib withdraw: the following arguments are required: --why",
    ("amend", "QB 7", *ONE, "--why", "x", "--unit", "QB 9"): "unrecognized arguments: --unit QB 9",
    ("history", "QB 7", *ONE[:2], "--register", "none.duckdb"): "--register 'none.duckdb': there is no register",
}


def test_what_is_wrong_with_a_revision_is_one_line_and_changes_nothing(kept: Run) -> None:
    for words, said in WRONG.items():
        done = kept(*words)
        (line,) = done.stderr.splitlines()
        assert (done.returncode, done.stdout) == (2, ""), words
        assert said in line
    assert len(history_of(kept)) == 1


def test_a_tag_that_is_there_already_is_not_added_over_but_led_to_its_amendment(kept: Run) -> None:
    done = kept("add", "--register", "club.duckdb", *words_of(OPTIONS | {"--rated-current-ma": "95"}))
    assert (done.returncode, done.stdout) == (2, "")
    (line,) = done.stderr.splitlines()
    assert "unit 'QB 7': Quarry Bank has a known unit of that tag, and its rated_current_ma" in line
    assert "amend its record: calib amend 'QB 7' --contributor 'Quarry Bank' --why TEXT" in line
    assert line.endswith("if it is another unit, give it a tag of its own")
    assert len(history_of(kept)) == 1


def test_an_interrupted_revision_says_whether_it_is_in(kept: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    withdraw = Register.withdraw

    def stopped(register: Register, *named: str, **more: str) -> None:
        if more["reason"] == "late":
            withdraw(register, *named, **more)
        raise KeyboardInterrupt

    monkeypatch.setattr(Register, "withdraw", stopped)
    done = kept("withdraw", "QB 7", *ONE, "--why", "early")
    assert (done.returncode, done.stderr) == (130, "calib: interrupted; nothing was written\n")
    done = kept("withdraw", "QB 7", *ONE, "--why", "late")
    assert (done.returncode, done.stdout) == (130, "")
    assert done.stderr.startswith("calib: interrupted; the record was revised: QB 7 of Quarry Bank")


def test_a_unit_that_the_bench_stopped_is_not_restored_until_that_is_cleared(kept: Run, tmp_path: Path) -> None:
    assert kept("withdraw", "QB 7", *ONE, "--why", "looked at anew").returncode == 0
    with package.Register(tmp_path / "club.duckdb") as register:
        low = with_more(insulation={"megohm_1": 3.0}, look={"tag": "QB 7"})
        register.keep_session("QB 7", low, "sum", contributor="Quarry Bank")
    done = kept("restore", "QB 7", *ONE, "--why", "x")
    assert (done.returncode, done.stdout) == (2, "")
    assert "unit 'QB 7': its bench session says stop, feed nothing" in done.stderr


def test_a_bundle_is_told_then_merged_and_what_contradicts_waits(called: Run, tmp_path: Path) -> None:
    called("import", str(table(tmp_path / "known.csv", HEADER, *ROWS)), "--register", "one.duckdb")
    assert called("export", "out", "--register", "one.duckdb", "--licence", "CC0-1.0").returncode == 0
    preview = called("merge", "out", "--register", "two.duckdb", "--preview")
    assert (preview.returncode, preview.stdout[:6], (tmp_path / "two.duckdb").exists()) == (0, "4 new;", False)
    told = json.loads(called("merge", "out", "--register", "two.duckdb", "--preview", "--format", "json").stdout)
    assert ({one["state"] for one in told["records"]}, told["licence"], told["written"]) == ({"new"}, "CC0-1.0", 0)
    merged = called("merge", "out", "--register", "two.duckdb")
    assert merged.stdout.startswith(
        "out: 4 new, 0 identical, 0 amended, 0 amended here, 0 contradicting; licence: CC0-1.0"
    )
    assert "4 revisions brought in" in merged.stdout
    for one, rated in (("one", 91.0), ("two", 92.0)):
        with package.Register(tmp_path / f"{one}.duckdb") as register:
            kept = register.record("Alder Lane", "AL 1")
            register.amend(kept.model_copy(update={"rated_current_ma": rated}), by=one)
    called("export", "out", "--register", "one.duckdb")
    told = called("merge", "out", "--register", "two.duckdb", "--preview").stdout
    assert "contradicting: Alder Lane, AL 1: rated_current_ma 92 here, 91 there; here by two, " in told
    assert "preview: nothing was written" in told
    told = json.loads(called("merge", "out", "--register", "two.duckdb", "--preview", "--format", "json").stdout)
    (differing,) = told["contradicting"]
    assert {"column": "rated_current_ma", "here": "92", "there": "91"} in differing["cells"]
    states = {one["unit"]: one["state"] for one in told["records"]}
    assert (states["AL 1"], states["AL 2"], told["written"], told["holds"]) == ("contradicting", "identical", 0, 4)
    wrong = called("merge", "out", "--register", "two.duckdb", "--take", "AL 2")
    assert (wrong.returncode, "--take 'AL 2': is no contradicting record" in wrong.stderr) == (2, True)
    assert "1 revision brought in" in called("merge", "out", "--register", "two.duckdb", "--take", "AL 1").stdout
    assert called("merge", "known.csv", "--register", "two.duckdb").returncode == 2
