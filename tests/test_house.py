"""The house rules that a machine can read: the one direction of imports, the size of files and functions, the words."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterable, Iterator
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
WINGS = (
    *("bench", "leads", "supply", "register", "fitting", "estimate", "review"),
    *("words", "session", "charts", "paper", "app", "cli"),
)
FREE = {"calib.errors", "calib.paths", "calib.units"}
FILES = sorted([*(ROOT / "calib").rglob("*.py"), ROOT / "app.py"])
TESTS = sorted((ROOT / "tests").rglob("*.py"))


def name_of(path: Path) -> str:
    """The dotted name of a module of this repository."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {name_of(path): path for path in FILES}


@cache
def tree_of(path: Path) -> tuple[ast.Module, tuple[ast.AST, ...]]:
    """The syntax tree of a file, and all its nodes."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return tree, tuple(ast.walk(tree))


def imports_of(nodes: Iterable[ast.AST], package: str) -> list[tuple[str, bool]]:
    """The project's modules that a source imports, wherever in it the import stands, and whether for types only.

    Parameters
    ----------
    nodes : iterable of ast.AST
        All nodes of its syntax tree.
    package : str
        Dotted name of the package that relative imports start from.

    Returns
    -------
    list of (str, bool)
    """
    nodes = tuple(nodes)
    typing_only = {
        id(inner)
        for node in nodes
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        for inner in ast.walk(node)
    }
    found = []
    for node in nodes:
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(package.split(".")[: len(package.split(".")) - node.level + 1]) if node.level else ""
            module = ".".join(part for part in (base, node.module) if part)
            names = [f"{module}.{alias.name}" for alias in node.names]
        found += [(name, id(node) in typing_only) for name in names if name.split(".")[0] == "calib"]
    return found


def module_of(name: str) -> str:
    """The module that an imported name is, or lives in."""
    while name not in MODULES:
        name = name.rpartition(".")[0]
    return name


@cache
def imports_in(module: str, for_types: bool = True) -> set[str]:
    """The project's modules that a module imports, late imports and, where wanted, those for types included."""
    path = MODULES[module]
    package = module if path.name == "__init__.py" else module.rpartition(".")[0]
    found = imports_of(tree_of(path)[1], package)
    return {module_of(name) for name, typing_only in found if for_types or not typing_only} - {module}


def wing_of(module: str) -> str:
    parts = module.split(".")
    return parts[1] if len(parts) > 1 and parts[0] == "calib" and parts[1] in WINGS else ""


def against_direction(module: str, imported: set[str]) -> list[str]:
    """The imports of a module that do not lie in its own wing or left of it."""
    wing = wing_of(module)
    if not wing:
        return []
    allowed = WINGS[: WINGS.index(wing) + 1]
    front_door = {"calib"} if wing in {"session", "paper", "app", "cli"} else set()  # the public names
    return sorted(name for name in imported - FREE - front_door if wing_of(name) not in allowed)


def test_imports_go_one_way() -> None:
    found = {module: against_direction(module, imports_in(module)) for module in MODULES}
    assert {module: wrong for module, wrong in found.items() if wrong} == {}


def test_an_import_from_the_right_is_seen_even_when_it_is_late_or_relative() -> None:
    source = "def late():\n    from ..cli import terminal\n    import calib.estimate.unit\n"
    names = {name for name, _ in imports_of(ast.walk(ast.parse(source)), "calib.fitting")}
    assert names == {"calib.cli.terminal", "calib.estimate.unit"}
    assert against_direction("calib.fitting.features", names) == ["calib.cli.terminal", "calib.estimate.unit"]


def test_what_all_may_import_imports_nothing_else_of_the_project() -> None:
    assert {module: imports_in(module) - FREE for module in FREE} == {module: set() for module in FREE}


def test_no_cycle_hides_behind_a_late_import_or_one_for_types() -> None:
    imports = {module: imports_in(module) - {"calib"} for module in MODULES}
    assert cycle_in(imports) == []


def cycle_in(imports: dict[str, set[str]]) -> list[str]:
    """A ring of modules that import one another; empty where there is none."""
    try:
        TopologicalSorter(imports).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def test_a_cycle_is_seen() -> None:
    assert set(cycle_in({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}})) == {"a", "b", "c"}


@cache
def lines_of_code(path: Path) -> int:
    """Lines of a file that hold code: docstrings, comments and blank lines are not counted."""
    source = path.read_text(encoding="utf-8").splitlines()
    lines = {number for number, line in enumerate(source, 1) if line.strip() and not line.strip().startswith("#")}
    for node in tree_of(path)[1]:
        if isinstance(node, ast.Constant | ast.JoinedStr):  # a line of a text that looks blank or a comment is code
            lines |= set(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    for node in tree_of(path)[1]:
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and ast.get_docstring(
            node
        ):
            lines -= set(range(node.body[0].lineno, (node.body[0].end_lineno or node.body[0].lineno) + 1))
    return len(lines)


def test_a_module_has_at_most_350_lines_of_code() -> None:
    lengths = {name: lines_of_code(path) for name, path in MODULES.items()}
    assert {name: length for name, length in lengths.items() if length > 350} == {}


def test_modules_are_subjects_and_no_crumbs() -> None:
    lengths = [lines_of_code(path) for path in MODULES.values()]
    assert sum(lengths) / len(lengths) >= 175


def test_no_crumb_serves_one_other_module_alone() -> None:
    """A module under 120 lines that one other alone imports is a part of that; a page and a command are looked up."""
    importers: dict[str, set[str]] = {module: set() for module in MODULES}
    for module in MODULES:
        for imported in imports_in(module):
            importers[imported].add(module)
    crumbs = [
        module
        for module, found in importers.items()
        if len(found) == 1
        and lines_of_code(MODULES[module]) < 120
        and all(MODULES[one].name != "__init__.py" for one in found)  # which only names what the wing offers
        and not module.startswith(("calib.cli.", "calib.app.pages.", "calib.app.site"))
    ]
    assert crumbs == []


def test_docstrings_and_comments_are_no_code(tmp_path: Path) -> None:
    path = tmp_path / "some.py"
    path.write_text('"""Text.\n\nMore.\n"""\n\n# note\nx = [\n    1,\n]\n\n\ndef f():\n    """Says."""\n    return x\n')
    assert lines_of_code(path) == 5


def code_lines(function: ast.FunctionDef | ast.AsyncFunctionDef, source: list[str]) -> int:
    """Lines of a function's body without its docstring, blank lines and comments."""
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    if not body:
        return 0
    lines = source[body[0].lineno - 1 : function.end_lineno]
    return sum(1 for line in lines if line.strip() and not line.strip().startswith("#"))


@cache
def functions_in(path: Path) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    return list(functions_below(ast.parse(path.read_text(encoding="utf-8"))))


def functions_below(node: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """The functions in a statement or a file, however deep; no expression holds one that has lines of its own."""
    for part in ("body", "orelse", "finalbody", "handlers", "cases"):
        for one in getattr(node, part, []) if not isinstance(node, ast.expr) else []:
            if isinstance(one, ast.FunctionDef | ast.AsyncFunctionDef):
                yield one
            yield from functions_below(one)


def test_a_function_has_at_most_40_code_lines() -> None:
    long = []
    for path in [*FILES, *TESTS]:
        source = path.read_text(encoding="utf-8").splitlines()
        long += [f"{name_of(path)}.{node.name}" for node in functions_in(path) if code_lines(node, source) > 40]
    assert long == []


def test_a_function_has_at_most_7_arguments() -> None:
    wide = []
    for path in FILES:
        for node in functions_in(path):
            names = [one.arg for one in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
            if len([name for name in names if name not in {"self", "cls"}]) > 7:
                wide.append(f"{name_of(path)}.{node.name}")
    assert wide == []


def test_only_the_command_line_prints() -> None:
    """A module's own command, which regenerates something, may print too."""
    printed = []
    for path in FILES:
        top = [node for node in tree_of(path)[0].body if not is_own_command(node)]
        calls = [node for part in top for node in ast.walk(part) if isinstance(node, ast.Call)]
        if any(ast.unparse(call.func) in {"print", "sys.stdout.write"} for call in calls):
            printed.append(path)
    assert [path for path in printed if not path.is_relative_to(ROOT / "calib" / "cli")] == []


def is_own_command(node: ast.stmt) -> bool:
    return isinstance(node, ast.If) and ast.unparse(node.test) == "__name__ == '__main__'"


# What belongs to the machine or the day that something was written on, never to the project. The brackets keep the
# pattern from finding itself.
UNWANTED = re.compile(
    r"transcrip[t]|see[d] document|\bvide[o]\b|/wor[k]/|/far[m]/|/roo[t]/|pyp[i]\.org|registr[y]\.npmjs", re.IGNORECASE
)
TEXTS = {".py", ".md", ".toml", ".sql", ".csv", ".json", ".yml", ".css", ""}


def texts() -> list[Path]:
    """The text files of the repository that are its own: hidden folders of tools are left out."""
    tops = [ROOT / name for name in ("calib", "datasets", "tests", ".ci", ".streamlit")]
    files = [path for top in tops for path in top.rglob("*")] + list(ROOT.glob("*"))
    own = (path for path in files if path.is_file() and path.suffix in TEXTS and path.name != ".git")
    return sorted(path for path in own if "__pycache__" not in path.parts)


def test_no_file_holds_a_word_or_path_that_none_may_hold() -> None:
    found = []
    for path in texts():
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
            if UNWANTED.search(line):
                found.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()[:80]}")
    assert found == []
    assert ROOT / "README.md" in texts()


def test_the_top_level_holds_what_the_design_allows() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "calib", "app.py", "datasets", "tests"}
    made = {"build", "dist", "__pycache__"}
    assert {path.name for path in ROOT.iterdir() if path.name[0] != "." and path.name not in made} <= allowed


def test_the_readme_begins_with_the_job_in_one_paragraph() -> None:
    blocks = (ROOT / "README.md").read_text(encoding="utf-8").split("\n\n")
    assert blocks[0].startswith("# ")
    assert len(blocks[1]) > 300
    assert not blocks[1].startswith(("#", "!", "[", "```"))


def test_every_package_that_is_imported_is_declared() -> None:
    """What happens to be installed for another package's sake may be gone tomorrow."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["federation"]]
    declared = {re.split(r"[\[<>=~! ]", line)[0] for line in wanted}
    called = {
        "ibis": "ibis-framework",
        "fpdf": "fpdf2",
        "PIL": "pillow",
        "vl_convert": "vl-convert-python",
        "pydantic_core": "pydantic",  # the two are released together
    }
    found = set()
    for path in FILES:
        for node in tree_of(path)[1]:
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module] if isinstance(node, ast.ImportFrom) and node.module and not node.level else []
            found |= {name.split(".")[0] for name in names}
    ours = {"calib", *sys.stdlib_module_names}
    assert {called.get(name, name).replace("_", "-") for name in found - ours} <= declared
