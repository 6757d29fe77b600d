"""``calib estimate`` and ``calib fit``: what they give, where they read and write, how a table can be wrong."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import calib as package
from calib.cli.main import main
from calib.fitting import variance_components
from tests.cli.conftest import Run
from tests.cli.tables import HEADER, ROWS, UNKNOWN_HEADER, UNKNOWN_ROWS, spoiled, table

COLUMNS = [
    *("unit", "no_load_v", "v_over_r", "size_class", "predictors", "multiplier", "multiplier_low", "multiplier_high"),
    *("rated_current_ma", "low_ma", "high_ma", "floor_ma", "odds_of_demand", "flags", "unit_multiplier"),
]


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_table_has_the_columns_and_what_the_bench_read(calib: Run, known: Path, unknown: Path) -> None:
    done = calib("estimate", "--known", str(known), "--unknown", str(unknown))
    assert (done.returncode, done.stderr) == (0, "")
    rows = read(done.stdout)
    assert list(rows[0])[: len(COLUMNS)] == COLUMNS
    assert [row["unit"] for row in rows] == ["spare 1", "spare 2"]
    # By hand: volts scale as the turns, and copper's resistance as 234.5 °C plus its temperature.
    volts, ohms = 117 * 27.76 / 4.97, 188.6 * (234.5 + 20) / (234.5 + 21.5)
    assert float(rows[0]["no_load_v"]) == pytest.approx(volts, rel=1e-12)
    assert float(rows[0]["v_over_r"]) == pytest.approx(volts / ohms, rel=1e-12)
    assert rows[0]["size_class"] == "3"  # 28.6 mm by 31.0 mm is 8.866 cm², in the class from 7 to 10
    assert rows[1]["size_class"] == rows[1]["odds_of_demand"] == ""
    assert "no-core" in rows[1]["flags"].split(";")
    for row in rows:
        low, middle, high = (float(row[name]) for name in ("low_ma", "rated_current_ma", "high_ma"))
        assert 0 < low < float(row["floor_ma"]) < middle < high < math.inf


def test_csv_and_json_and_python_say_the_same_to_the_last_digit(called: Run, known: Path, unknown: Path) -> None:
    words = ("estimate", "--known", str(known), "--unknown", str(unknown), "--level", "0.8")
    as_csv, as_json = read(called(*words).stdout), json.loads(called(*words, "--format", "json").stdout)
    direct = package.fit(package.read_known(known)).estimate(package.read_unknown(unknown), level=0.8)
    assert list(as_json[0]) == list(as_csv[0]) == list(direct.columns)
    for left, right, row in zip(as_csv, as_json, direct.to_dict(orient="records"), strict=True):
        for name, cell in left.items():
            if cell == "":
                assert right[name] is None
            else:
                assert str(right[name]) == cell == str(row[name])


def test_a_gauge_alone_is_answered_with_blanks_where_volts_and_ohms_are_missing(
    called: Run, known: Path, tmp_path: Path
) -> None:
    wires = table(tmp_path / "wires.csv", "unit,rectifier,filter,awg", "W 1,full-wave,capacitor,34")
    words = ("estimate", "--known", str(known), "--unknown", str(wires))
    (told,), (row,) = json.loads(called(*words, "--format", "json").stdout), read(called(*words).stdout)
    blank = ("no_load_v", "v_over_r", "multiplier", "multiplier_low", "multiplier_high", "unit_multiplier")
    assert [(told[name], row[name]) for name in (*blank, "odds_of_demand")] == [(None, "")] * 7
    assert (told["predictors"], told["size_class"] or "") == ("gauge", "")
    assert {"no-core", "no-resistance", "no-volts"} <= {*told["flags"].split(";")}
    assert 0 < told["low_ma"] < told["floor_ma"] < told["rated_current_ma"] < told["high_ma"] == float(row["high_ma"])


def test_out_writes_the_file_that_standard_output_would_show(
    calib: Run, known: Path, unknown: Path, tmp_path: Path
) -> None:
    words = ("estimate", "--known", str(known), "--unknown", str(unknown))
    done = calib(*words, "--out", "answer.csv")
    assert (done.returncode, done.stdout) == (0, "")
    assert (tmp_path / "answer.csv").read_text(encoding="utf-8") == calib(*words).stdout
    assert sorted(path.name for path in tmp_path.iterdir()) == ["answer.csv", "known.csv", "unknown.csv"]


def test_without_a_register_the_prior_answers_and_none_is_made(calib: Run, unknown: Path, tmp_path: Path) -> None:
    done = calib("estimate", "--unknown", str(unknown))
    assert done.returncode == 0
    assert all("published-only" in row["flags"].split(";") for row in read(done.stdout))
    assert done.stderr.startswith("note: there is no register at ")
    alone = calib("estimate", "--unknown", str(unknown), "--published", "no")
    assert all("prior-only" in row["flags"].split(";") for row in read(alone.stdout))
    assert [path.name for path in tmp_path.iterdir()] == ["unknown.csv"]


def test_the_register_is_the_one_named_else_the_one_in_the_environment(
    calib: Run, known: Path, unknown: Path, tmp_path: Path
) -> None:
    assert calib("import", str(known), "--register", "club.duckdb").returncode == 0
    words = ("estimate", "--unknown", str(unknown))
    from_file = calib(*words, "--known", str(known), "--register", "nowhere.duckdb", "--published", "yes")
    assert calib(*words, "--known", str(known)).stdout != from_file.stdout  # a file is not given them unless asked
    named = calib(*words, "--register", "club.duckdb")
    by_environment = calib(*words, env={"CALIB_REGISTER": str(tmp_path / "club.duckdb")})
    assert from_file.stdout == named.stdout == by_environment.stdout != calib(*words).stdout


def test_published_windings_are_counted_apart_and_refused_beside_simulated_units(
    called: Run, tmp_path: Path, known: Path
) -> None:
    told = json.loads(called("fit", "--known", str(known), "--published", "yes", "--format", "json").stdout)
    alone = json.loads(called("fit", "--known", str(known), "--format", "json").stdout)
    assert (told["published"], alone["published"]) == (14, 0)
    assert alone["conflicts"] == []
    assert told["records"] == alone["records"] == sum(one["count"] for one in told["classes"])
    practice = table(tmp_path / "practice.csv", f"{HEADER},simulated", *(f"{row},true" for row in ROWS))
    refused = called("fit", "--known", str(practice), "--published", "yes")
    assert refused.returncode == 2
    assert refused.stderr.count("\n") == 1
    assert refused.stderr.startswith(
        "command line, --published 'yes': real published windings are never mixed with sim"
    )
    assert refused.stderr.endswith("leave --published out\n")


def test_simulated_units_are_named_as_such(called: Run, tmp_path: Path, unknown: Path) -> None:
    practice = table(tmp_path / "practice.csv", f"{HEADER},simulated", *(f"{row},true" for row in ROWS))
    done = called("estimate", "--known", str(practice), "--unknown", str(unknown))
    assert done.stderr == "note: Simulated practice data, not readings of real units.\n"
    assert all("simulated" in row["flags"] for row in read(done.stdout))


SPOILED = [
    ("hv_resistance_ohm", "nan", "is not a number"),
    ("hv_resistance_ohm", "NA", "is not a number"),
    ("hv_resistance_ohm", "0", "is outside the limits"),
    ("hv_resistance_ohm", "188,6 volts", "is not a number"),
    ("winding_temp_c", "451", "is outside the limits"),
    ("line_voltage_v", "-117", "is outside the limits"),
    ("line_frequency_hz", "5", "is outside the limits"),
    ("centre_tapped", "perhaps", "is not true or false"),
    ("rectifier", "fulwave", "is not one of the choices"),
    ("filter", "none at all", "is not one of the choices"),
    ("tongue_mm", "2", "is outside the limits"),
    ("unit", "", "is needed"),
    ("hv_v", "", "is needed beside excitation_v"),
]


@pytest.mark.parametrize(("column", "value", "problem"), SPOILED)
@pytest.mark.parametrize("which", ["known", "unknown"])
def test_a_spoiled_cell_in_either_file_is_one_line_and_nothing_is_written(
    called: Run, tmp_path: Path, which: str, column: str, value: str, problem: str
) -> None:
    typed = f'"{value}"' if "," in value else value
    lines = {"known": [HEADER, *ROWS], "unknown": [UNKNOWN_HEADER, *UNKNOWN_ROWS]}
    lines[which][1] = spoiled(lines[which][0], lines[which][1], column, "@").replace("@", typed)
    for name, rows in lines.items():
        table(tmp_path / f"{name}.csv", *rows)
    done = called("estimate", "--known", "known.csv", "--unknown", "unknown.csv", "--out", "answer.csv")
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert done.stderr.startswith(f"{which}.csv, row 2, {column} ")
    assert f"'{value}'" in done.stderr or value == "" and "(empty)" in done.stderr
    assert problem in done.stderr
    assert not (tmp_path / "answer.csv").exists()


def test_every_fault_of_both_files_and_of_the_command_line_is_told_at_once(calib: Run, tmp_path: Path) -> None:
    table(tmp_path / "known.csv", HEADER, spoiled(HEADER, ROWS[0], "rated_current_ma", "lots"), *ROWS[1:])
    bad = spoiled(UNKNOWN_HEADER, UNKNOWN_ROWS[1], "hv_v", "null")
    table(tmp_path / "unknown.csv", UNKNOWN_HEADER, UNKNOWN_ROWS[0], spoiled(UNKNOWN_HEADER, bad, "demand_ma", "-1"))
    done = calib("estimate", "--known", "known.csv", "--unknown", "unknown.csv", "--level", "90", "--out", ".")
    told = done.stderr.splitlines()
    assert (done.returncode, len(told)) == (2, 5)
    for start in ("command line, --level '90'", "known.csv, row 2, rated_current_ma 'lots'", "command line, --out '.'"):
        assert sum(line.startswith(start) for line in told) == 1
    assert {line.split(" '")[0] for line in told if line.startswith("unknown")} == {
        "unknown.csv, row 3, hv_v",
        "unknown.csv, row 3, demand_ma",
    }


@pytest.mark.parametrize("level", ["0", "1", "-0.5", "1.5", "nan", "inf", "ninety", ""])
@pytest.mark.parametrize("command", ["fit", "estimate"])
def test_a_level_that_is_no_probability_is_refused(
    called: Run, known: Path, unknown: Path, command: str, level: str
) -> None:
    more = ("--unknown", str(unknown)) if command == "estimate" else ()
    done = called(command, "--known", str(known), *more, f"--level={level}")
    shown = f"'{level}'" if level else "(empty)"
    remedy = "is no probability between 0 and 1, both excluded; give one such as 0.9"
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"command line, --level {shown}: {remedy}\n"


@pytest.mark.parametrize("option", ["--known", "--unknown"])
def test_a_missing_file_is_one_line(called: Run, known: Path, unknown: Path, option: str) -> None:
    files = {"--known": str(known), "--unknown": str(unknown), option: "gone.csv"}
    done = called("estimate", *(word for pair in files.items() for word in pair))
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert done.stderr.startswith("gone.csv: ")
    assert "there is no such file" in done.stderr


@pytest.mark.parametrize(
    ("out", "problem"),
    [
        (".", "is a folder"),
        ("missing/answer.csv", "its folder is missing"),
        ("unknown.csv", "is a file that the command reads"),
        ("known.csv", "is a file that the command reads"),
    ],
)
def test_a_file_that_must_not_be_written_is_refused(
    called: Run, known: Path, unknown: Path, out: str, problem: str
) -> None:
    before = (known.read_bytes(), unknown.read_bytes())
    done = called("estimate", "--known", "known.csv", "--unknown", "unknown.csv", "--out", out)
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert f"--out '{out}': {problem}" in done.stderr
    assert (known.read_bytes(), unknown.read_bytes()) == before


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
def test_a_full_disk_is_one_line_and_status_1(calib: Run, known: Path, unknown: Path) -> None:
    words = ["estimate", "--known", str(known), "--unknown", str(unknown)]
    with open("/dev/full", "w") as full:
        done = calib(*words, capture_output=False, stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "No space left on device" in done.stderr


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A register of the sound table of known units."""
    folder = tmp_path_factory.mktemp("kept")
    known = table(folder / "known.csv", HEADER, *ROWS)
    assert main(["import", str(known), "--register", str(folder / "own.duckdb")]) == 0
    return folder / "own.duckdb"


@pytest.mark.parametrize("way", ["--register", "CALIB_REGISTER", "its own folder", "a link", "a hard link", "another"])
def test_a_register_is_never_overwritten(
    called: Run, known: Path, unknown: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kept: Path, way: str
) -> None:
    register = Path(shutil.copy(kept, tmp_path / "own.duckdb"))
    out, more = register, ()
    if way == "--register":
        more = ("--register", str(register))
    elif way == "its own folder":
        monkeypatch.chdir(register.parent)
        out = Path("own.duckdb")
    elif way in ("a link", "a hard link"):
        out = tmp_path / "estimates.csv"
        out.symlink_to(register) if way == "a link" else out.hardlink_to(register)
    elif way == "another":
        more = ("--known", str(known))
    before = register.read_bytes()
    done = called("estimate", "--unknown", str(unknown), "--out", str(out), *more)
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "--out" in done.stderr
    assert register.read_bytes() == before


@pytest.mark.skipif(os.name == "nt", reason="Windows closes pipes in another way")
@pytest.mark.parametrize("words", [("--help",), ("fit", "--known", "known.csv")])
def test_a_closed_pipe_is_no_error(known: Path, home: dict[str, str], words: tuple[str, ...]) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    command = [sys.executable, "-m", "calib", *words]
    done = subprocess.run(command, stdout=writer, stderr=subprocess.PIPE, env=home, cwd=known.parent, timeout=300)
    os.close(writer)
    assert (done.returncode, done.stderr) == (0, b"")


def test_what_stands_against_a_unit_goes_with_its_figures(called: Run, known: Path, tmp_path: Path) -> None:
    header = f"{UNKNOWN_HEADER},stop,stop_cleared,doubts"
    said = [
        "insulation 3 Mohm,,",
        "insulation 3 Mohm,dried and read again: 400 Mohm,",
        ",,halves 30 % apart | light for its core",
    ]
    base = UNKNOWN_ROWS[0].split(",", 1)[1]
    unknown = table(tmp_path / "stopped.csv", header, *(f"S{k},{base},{more}" for k, more in enumerate(said)))
    done = called("estimate", "--known", str(known), "--unknown", str(unknown), "--format", "json")
    rows = json.loads(done.stdout)
    assert [row["flags"].split(";")[0] for row in rows][:1] == ["stop"]
    assert ["stop" in row["flags"].split(";") for row in rows] == [True, False, False]
    assert ["doubt" in row["flags"].split(";") for row in rows] == [False, False, True]
    assert [(row["stop"], row["stop_cleared"]) for row in rows][1] == (
        "insulation 3 Mohm",
        "dried and read again: 400 Mohm",
    )
    assert rows[2]["doubts"] == "halves 30 % apart | light for its core"
    assert rows[0]["rated_current_ma"] == rows[1]["rated_current_ma"] > 0
    assert [line for line in done.stderr.splitlines() if "STOP" in line] == [
        "note: STOP, feed S0 nothing: insulation 3 Mohm"
    ]


IMPROBABLE = {"spare 1": {"hv_resistance_ohm": "0.212"}, "hot": {"winding_temp_c": "70"}}
IMPROBABLE |= {"fed": {"excitation_v": "300", "hv_v": "1000"}, "turned": {"excitation_v": "27.76", "hv_v": "4.97"}}
IMPROBABLE |= {"weak": {"demand_ma": "0.12"}, "sound": {}}


def improbable(tmp_path: Path) -> Path:
    row = UNKNOWN_ROWS[0]
    lines = []
    for unit, changed in IMPROBABLE.items():
        lines.append(spoiled(UNKNOWN_HEADER, row, "unit", unit))
        for column, value in changed.items():
            lines[-1] = spoiled(UNKNOWN_HEADER, lines[-1], column, value)
    return table(tmp_path / "odd.csv", UNKNOWN_HEADER, "", *lines)


def test_improbable_readings_are_flagged_and_asked_for_and_never_refused(
    called: Run, known: Path, tmp_path: Path
) -> None:
    done = called("estimate", "--known", str(known), "--unknown", str(improbable(tmp_path)), "--format", "json")
    assert done.returncode == 0
    flags = {row["unit"]: row["flags"].split(";") for row in json.loads(done.stdout)}
    assert {unit: "improbable" in found for unit, found in flags.items()} == {
        unit: bool(changed) for unit, changed in IMPROBABLE.items()
    }
    lines = [line for line in done.stderr.splitlines() if ", row " in line]
    where = f"note: {tmp_path / 'odd.csv'}"
    told = [
        (
            "row 3, spare 1: hv_resistance_ohm: 0.212 ohm is unusual: most are 5 to 10000 ohm",
            "212 ohm (typed in kilohms)",
        ),
        # (70 - 32) / 1.8 = 21.1
        ("row 4, hot: winding_temp_c: 70 °C is unusual: most are 5 to 40 °C", "21.111 °C (typed in °F)"),
        ("row 5, fed: excitation_v: 300 V is unusual: most are 0.5 to 60 V", "30 V"),
        # 117 V x 4.97 / 27.76 = 20.95 V
        ("row 6, turned: hv_v: the no-load voltage that the ratio test gives, 20.95 V", "4.97 V on the primary and 27"),
        ("row 7, weak: demand_ma: 0.12 mA is unusual: most are 5 to 1000 mA", "120 mA (typed in amperes)"),
    ]
    assert len(lines) == len(told)
    for line, (said, meant) in zip(lines, told, strict=True):
        assert line.startswith(f"{where}, {said}")
        assert meant in line.partition("; did you mean ")[2]


def test_of_many_improbable_readings_twenty_are_told_and_the_others_counted(
    called: Run, known: Path, tmp_path: Path
) -> None:
    hot = spoiled(UNKNOWN_HEADER, UNKNOWN_ROWS[0], "winding_temp_c", "70").split(",", 1)[1]
    many = table(tmp_path / "many.csv", UNKNOWN_HEADER, *(f"U{k},{hot}" for k in range(27)))
    lines = called("estimate", "--known", str(known), "--unknown", str(many)).stderr.splitlines()
    assert [line for line in lines if "many.csv" in line][-1] == (
        f"note: {many}: and 7 more that are worth a second look"
    )
    assert len(lines) == 21
    assert len(package.improbabilities(package.read_unknown(many))) == 27


def test_a_stopped_unit_is_no_known_unit(called: Run, tmp_path: Path) -> None:
    header, row = f"{HEADER},stop,stop_cleared", ROWS[0]
    stopped = table(tmp_path / "stopped.csv", header, f"{row},insulation 3 Mohm,")
    done = called("import", str(stopped))
    assert done.returncode == 2
    assert "stop 'insulation 3 Mohm': a unit that must not be fed is no known unit" in done.stderr
    cleared = table(tmp_path / "cleared.csv", header, f"{row},,dried")
    assert "stop_cleared 'dried': clears a stop that is not there" in called("import", str(cleared)).stderr


def test_where_readings_do_not_go_together_no_current_is_told_but_as_read(
    called: Run, known: Path, tmp_path: Path
) -> None:
    """0.19 mm typed as a gauge. The JSON's blanks are null; --as-read tells the figures, and flags and odds alike."""
    row = f"{UNKNOWN_ROWS[0]},0.19"
    table(tmp_path / "mine.csv", f"{UNKNOWN_HEADER},awg", row, f"{UNKNOWN_ROWS[1]},")
    words = ("estimate", "--known", str(known), "--unknown", "mine.csv")
    done = called(*words)
    withheld, sound = read(done.stdout)
    blank = ("rated_current_ma", "low_ma", "high_ma", "floor_ma", "odds_of_demand")
    assert {withheld[name] for name in blank} == {""}
    assert sound["rated_current_ma"]
    assert {"suspect-reading", "withheld"} <= set(withheld["flags"].split(";"))
    assert withheld["likely_slip"] == "wire diameter in mm taken for its gauge"
    assert float(withheld["repaired_low_ma"]) < float(withheld["repaired_ma"]) < float(withheld["repaired_high_ma"])
    assert float(withheld["odds_sound"]) < 0.1
    told = "mine.csv, spare 1: no current is told, its readings do not go together; the likeliest slip: wire diameter"
    assert f"note: {told}" in done.stderr
    assert all(json.loads(called(*words, "--format", "json").stdout)[0][name] is None for name in blank)
    as_read = read(called(*words, "--as-read").stdout)[0]
    assert all(float(as_read[name]) > 0 for name in blank if name != "odds_of_demand")
    same = ("flags", "odds_sound", "likely_slip", "repaired_ma", "repaired_low_ma", "repaired_high_ma")
    assert [as_read[name] for name in same] == [withheld[name] for name in same]


def test_json_has_the_keys_and_the_values_of_the_model(called: Run, known: Path) -> None:
    done = called("fit", "--known", str(known), "--level", "0.8", "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    model = package.fit(package.read_known(known))
    assert {"records", "level", "scatter", "classes", "terms", "suspects", "check"} <= told.keys()
    assert (told["records"], told["level"], told["scatter"]) == (4, 0.8, model.scatter)
    names = ("size_class", "rectifier", "filter", "low_area_cm2", "high_area_cm2", "count", "multiplier", "low", "high")
    assert set(names) <= told["classes"][0].keys()
    assert {"name", "value", "low", "high"} <= told["terms"][0].keys()
    assert {"folds", "coverage", "level"} <= told["check"].keys()
    classes = model.classes(0.8)
    assert [row["multiplier"] for row in told["classes"]] == classes["multiplier"].tolist()
    assert [row["high_area_cm2"] for row in told["classes"] if row["size_class"] == "7"][0] is None


def test_a_fit_that_does_not_come_to_rest_is_told_in_json_text_and_beside_the_estimates(
    called: Run, known: Path, unknown: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = ("fit", "--known", str(known), "--format", "json")
    told = json.loads(called(*asked).stdout)
    assert told["converged"] is True
    assert all(one["converged"] and one["rounds"] <= one["most"] for one in told["iterations"])
    monkeypatch.setattr(variance_components, "MODE_ROUNDS", 1)
    told = json.loads(called(*asked).stdout)
    assert (told["converged"], [one["converged"] for one in told["iterations"]].count(False)) == (False, 1)
    assert "NOT SETTLED" in called("fit", "--known", str(known)).stdout
    done = called("estimate", "--known", str(known), "--unknown", str(unknown))
    assert done.returncode == 0
    assert "note: the fit did not come to rest, so these figures may still move: scatters of units" in done.stderr
    assert "not-converged" in done.stdout


def test_diagnostics_add_the_regression_and_influence_and_change_nothing_else(called: Run, known: Path) -> None:
    asked = ("fit", "--known", str(known))
    plain, more = (json.loads(called(*asked, *words, "--format", "json").stdout) for words in ((), ("--diagnostics",)))
    told = more.pop("diagnostics")
    assert more == plain
    assert told["given"] == "scales at the mode"
    assert [one["name"] for one in told["coefficients"]] == [one["name"] for one in plain["terms"]]
    assert {"value", "sd"} <= told["coefficients"][0].keys()
    assert len(told["records"]) == 4
    assert {"leverage", "cooks_distance", "studentised_residual"} <= told["records"][0].keys()
    short, long = (called(*asked, *words).stdout for words in ((), ("--diagnostics",)))
    assert long.startswith(short.rstrip("\n"))
    assert "given the scales at the mode" in long
    assert "leverage" in long
    assert "Cook's distance" in long


def test_a_suspect_is_named_with_its_odds_and_its_slip(called: Run, tmp_path: Path) -> None:
    slip = spoiled(HEADER, ROWS[0], "hv_resistance_ohm", "21.2").replace("AL 1", "AL 9")  # a slipped decimal point
    sound = [row.replace("AL ", f"AL {number}") for number in range(1, 4) for row in ROWS[:2]]
    spoiled_table = table(tmp_path / "known.csv", HEADER, *sound, *ROWS[2:], slip)
    told = json.loads(called("fit", "--known", str(spoiled_table), "--format", "json").stdout)
    odds = {row["unit"]: row["odds_sound"] for row in told["suspects"]}
    assert min(odds, key=odds.__getitem__) == "AL 9"
    assert 0 <= odds["AL 9"] < 0.5
    assert {"contributor", "unit", "odds_sound", "likely_slip"} <= told["suspects"][0].keys()


def test_text_is_the_model_s_own_report(called: Run, known: Path) -> None:
    done = called("fit", "--known", str(known))
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"{package.fit(package.read_known(known))}\n"


def test_simulated_units_are_named_at_the_top(called: Run, tmp_path: Path) -> None:
    practice = table(tmp_path / "practice.csv", f"{HEADER},simulated", *(f"{row},true" for row in ROWS))
    first = called("fit", "--known", str(practice)).stdout.splitlines()[0]
    assert "imulated" in first
    assert json.loads(called("fit", "--known", str(practice), "--format", "json").stdout)["simulated"] is True


def test_an_empty_register_gives_the_prior(called: Run, tmp_path: Path) -> None:
    told = json.loads(called("fit", "--format", "json").stdout)
    assert told["records"] == 0
    assert all(row["count"] == 0 and row["low"] < row["multiplier"] < row["high"] for row in told["classes"])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("format", ["text", "json"])
def test_the_same_table_gives_the_same_digits(calib: Run, known: Path, format: str) -> None:
    words = ("fit", "--known", str(known), "--format", format)
    assert calib(*words).stdout == calib(*words).stdout


def test_a_row_that_repeats_another_is_noted(called: Run, tmp_path: Path) -> None:
    doubled = table(tmp_path / "known.csv", HEADER, *ROWS, ROWS[0])
    done = called("fit", "--known", str(doubled), "--format", "json")
    assert json.loads(done.stdout)["records"] == 4
    assert done.stderr == f"note: {doubled}, row 6: the same as row 2, taken once\n"


def test_review_says_which_records_somebody_should_look_at(called: Run, tmp_path: Path) -> None:
    first = table(tmp_path / "known.csv", HEADER, *ROWS)
    again = table(tmp_path / "again.csv", HEADER, spoiled(HEADER, ROWS[0], "rated_current_ma", "75"))
    for source in (first, again):
        assert called("import", str(source)).returncode == 0
    done = called("review", "--published", "no", "--format", "json")
    assert done.returncode == 0, done.stderr
    (told,) = json.loads(done.stdout)
    assert (told["unit"], told["kinds"], told["corrected"]) == ("AL 1", ["revised"], {"rated_current_ma": 70.0})
    assert told["reasons"] == ["added again: Rated current 70 then, 75 now"]
    text = called("review", "--published", "no").stdout
    assert "1 record somebody should look at" in text
    assert "corrected: rated_current_ma 70 (now 75)" in text
    assert called("review", "--register", "none.duckdb").returncode == 2
