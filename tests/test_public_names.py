"""What ``import calib`` offers."""

from __future__ import annotations

import ast
import inspect
import os
import subprocess
import sys
from pathlib import Path
from types import FunctionType, ModuleType

import pytest

import calib


@pytest.mark.parametrize("name", calib.__all__)
def test_every_public_name_is_there_and_documented(name: str) -> None:
    value = getattr(calib, name)
    assert name in dir(calib)
    assert not callable(value) or value.__doc__


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="module 'calib' has no attribute 'rate'"):
        _ = calib.rate


def test_fit_is_a_function_whose_help_tells_its_settings() -> None:
    code = "import calib, calib.fitting\nhelp(calib.fit)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("Help on function fit in module calib.fitting.result:")
    assert "fit(known: " in done.stdout


def public_functions() -> dict[str, FunctionType]:
    """Every public function, and the public methods and properties of every public class, by name."""
    found: dict[str, FunctionType] = {}
    for name in calib.__all__:
        value = getattr(calib, name)
        inside = {part: getattr(value, part) for part in value.__all__} if isinstance(value, ModuleType) else {}
        inside |= dict(inspect.getmembers(value)) if inspect.isclass(value) else {}
        for part, one in {"": value, **inside}.items():
            one = getattr(one, "fget", None) or getattr(one, "func", one)
            if isinstance(one, FunctionType) and one.__module__.startswith("calib") and not part.startswith("_"):
                found[f"{name}.{part}".rstrip(".")] = one
    return found


def test_no_public_function_takes_or_gives_just_anything() -> None:
    functions = public_functions()
    assert {
        "fit",
        "Multiplier.estimate",
        "Multiplier.regression",
        "charts.estimate",
        "Register.known",
    } <= functions.keys()
    assert [name for name, one in functions.items() if "Any" in one.__annotations__.values()] == []


SNIPPET = """
import calib

model = calib.fit(calib.read_known("known.csv"))
reveal_type(calib.fit)
reveal_type(model.classes(0.9))
reveal_type(calib.estimate_unit(model, calib.read_unknown("mine.csv")).answer)
reveal_type(calib.resistance_at)
reveal_type(model.params)
reveal_type(model.conf_int())
reveal_type(model.regression.influence())
reveal_type(model.predict({"unit": "T1"}).interval(0.8))
reveal_type(model.estimate(calib.UnknownUnit.parse({"unit": "T1"})))
reveal_type(calib.Multiplier.load("fit.json"))
reveal_type(model.regression.summary())
reveal_type(calib.charts.opinions)
model.nothing_of_the_kind
"""


# What a signature names of other packages: their own types take a checker half a minute, and none of them is calib's.
OTHERS = {
    "pandas": "class DataFrame: ...\nclass Series: ...",
    "numpy": "class ndarray: ...",
    "altair": "class Chart: ...\nclass LayerChart: ...\nclass FacetChart: ...",
}


def test_a_type_checker_sees_what_the_public_names_are(tmp_path: Path) -> None:
    (tmp_path / "mine.py").write_text(SNIPPET, encoding="utf-8")
    (tmp_path / "others").mkdir()
    for name, types in OTHERS.items():
        (tmp_path / "others" / f"{name}.pyi").write_text(types, encoding="utf-8")
    package = Path(str(calib.__file__)).parent
    assert (package / "py.typed").is_file()
    asked = ["--strict", "--no-site-packages", "--follow-imports=silent", "--cache-dir", str(tmp_path / "cache")]
    places = os.pathsep.join([str(tmp_path / "others"), str(package.parent)])
    command = [sys.executable, "-m", "mypy", *asked, "mine.py"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, env=os.environ | {"MYPYPATH": places})
    said = [line.partition(": ")[2] for line in done.stdout.splitlines()]
    fit = 'note: Revealed type is "def (known: pandas.DataFrame, published: bool =) -> calib.fitting.result.Multiplier"'
    assert (len(said), said[0]) == (SNIPPET.count("reveal_type") + 2, fit), done.stderr
    assert said[-2] == 'error: "Multiplier" has no attribute "nothing_of_the_kind"  [attr-defined]'
    assert [number for number, line in enumerate(said) if "Any" in line] == [3]  # what may be a number or an array


def test_the_names_that_a_type_checker_sees_are_those_that_are_there() -> None:
    (seen,) = [one for one in ast.parse(Path(str(calib.__file__)).read_text()).body if isinstance(one, ast.If)]
    named = [alias.asname for one in seen.body if isinstance(one, ast.ImportFrom) for alias in one.names]
    assert sorted(filter(None, named)) == calib.__all__
