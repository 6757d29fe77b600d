"""The fit of a register that is too large for memory: a sample for the start, then passes over the table.

The sample sets the side regressions and where the passes begin; the coefficients, the share of unsound records and the
scales are those of all records, and the scales are averaged over as for few.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from hashlib import sha256
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import numpy as np

from calib.errors import CannotError, Fault, InputError
from calib.fitting.cells import Cells
from calib.fitting.chains import Sides, fit_sides
from calib.fitting.counted import Counted
from calib.fitting.digits import same_digits
from calib.fitting.effects import GRADE_NAMES, Layout, Unmeasured
from calib.fitting.facts_expression import NUMBERS, TEXTS, facts_expression, faulty
from calib.fitting.mixture import judged, unsettled
from calib.fitting.named import content_hash
from calib.fitting.passes import prepared
from calib.fitting.prior import MAIN, Prior, load_prior
from calib.fitting.problem import Problem
from calib.fitting.road import Road, State
from calib.fitting.rows import Facts, facts, one_each, places
from calib.fitting.scales import ALL, nodes_of, scales_at
from calib.register.frame import column_faults
from calib.register.records import KnownUnit, columns

if TYPE_CHECKING:
    import ibis
    import pandas as pd

SAMPLE_ROWS = 40_000
START_ROWS = 2000  # of the sample that the first start is found by
SEPARATOR, HASH_DIGITS = "\x1f", 12
MOST_CONTRIBUTORS = 2000  # the normal equations hold the square of that
MOST_PASSES, MOST_ON_SAMPLE = 8, 40
MOST_NAMED = 20  # records of a table whose faults are told one by one
TABLE = "known units (table)"
MEMORY = "1GB"  # what DuckDB may hold while the passes run


def frame_parts(known: pd.DataFrame) -> dict[str, Any]:
    """Parts of the fit to a large data frame, see table_parts; of a record that is given twice the last counts."""
    import ibis

    one = known.drop_duplicates(["contributor", "unit"], keep="last")
    told = [name for name in (*TEXTS, *NUMBERS, "simulated") if name in one]
    backend = ibis.duckdb.connect()
    parts = _parts(backend.create_table("known", ibis.memtable(one[told])))
    backend.disconnect()
    dropped = len(known) - len(one)
    note = f"{dropped} repeated record(s) of one contributor and unit counted once"
    return {**parts, "notes": (note, *parts["notes"])} if dropped else parts


def table_parts(table: ibis.Table, sample_rows: int = SAMPLE_ROWS) -> dict[str, Any]:
    """Parts of the fit to a table: what a Multiplier is made of, by name; see multiplier.fit_table."""
    _refuse_faulty(table, table.get_backend().execute)
    return _parts(table, sample_rows)


@same_digits
def _parts(table: ibis.Table, sample_rows: int = SAMPLE_ROWS) -> dict[str, Any]:
    backend = table.get_backend()
    with _frugal(backend):
        return _fit(table, backend, sample_rows)


def _fit(table: ibis.Table, backend: Any, sample_rows: int) -> dict[str, Any]:
    import ibis

    run, prior, main = backend.execute, load_prior(), slice(0, len(MAIN))
    count, simulated = _count(table, run)
    names = sorted(set(run(table.select(name=_text(table, "contributor")).distinct())["name"]) - {""})
    if len(names) > MOST_CONTRIBUTORS:
        raise CannotError(f"{len(names)} contributors are more than the {MOST_CONTRIBUTORS} that one fit tells apart")
    layout = Layout(tuple(names))
    frame = run(_sampled(table, count, sample_rows))
    rows, notes = one_each(facts(frame))
    placed = (rows.pair >= 0) & (places(GRADE_NAMES, rows.frame["evidence"]) >= 0)
    _refuse(int(np.sum(~placed | np.isnan(rows.response))))
    sides = fit_sides(rows, prior)
    unmeasured = Unmeasured.of(prior.main.mean, np.zeros((6, 6)), sides)
    state = _start(rows, layout, sides, unmeasured, prior)
    codes = ibis.memtable({"contributor": [*names, ""], "code": list(range(len(names) + 1))})
    for source, most in ((ibis.memtable(frame), MOST_ON_SAMPLE), (table, MOST_PASSES)):
        unmeasured = Unmeasured.of(state.mean[main], state.covariance[main, main], sides)
        with _held(prepared(facts_expression(source), codes, sides), backend) as ready:
            road = Road(ready, run, _cells(ready, run, layout), sides, unmeasured, prior)
            state, found, passes = road.travelled(state, most)
    problem = Problem(rows, layout, sides, unmeasured, prior)
    one = judged(problem.evidence(road.scales(state)), state.mean, state.covariance, state.share)
    # The odds of the records held hardly change between the nodes.
    found_nodes, search = nodes_of(found, prior.main)
    nodes = tuple(replace(at, solution=replace(at.solution, weight=one.weight, odds=one.odds)) for at in found_nodes)
    iterations = (*sides.iterations, passes, search)
    note = f"{len(rows)} of {count} known units are held for what is said of single records"
    name = sha256(content_hash(rows).encode() + state.mean.tobytes() + state.covariance.tobytes()).hexdigest()[:16]
    return {
        "rows": rows,
        "counted": Counted(count, simulated, road.cells.classes()),
        "layout": layout,
        "sides": sides,
        "unmeasured": unmeasured,
        "prior": prior,
        "nodes": nodes,
        "content_hash": name,
        "notes": (*notes, note, *unsettled(iterations)),
        "iterations": iterations,
    }


def _refuse_faulty(table: ibis.Table, run: Any) -> None:
    """Refuse what a file would be refused for; the first records are named with every fault, the rest are counted."""
    faults, _ = column_faults(KnownUnit, list(table.columns), TABLE)
    if faults:
        raise InputError(faults)
    wrong = faulty(table, run)
    if wrong is None:
        return
    looked_at = table.filter(wrong)
    found = run(looked_at.order_by("contributor", "unit").limit(MOST_NAMED))
    for row in found.astype(object).to_dict("records"):
        values = {name: row[name] for name in columns(KnownUnit) if name in row}
        there = f"{TABLE}, {row['unit']} of {row['contributor']}"
        try:
            KnownUnit.parse(values, there)
        except InputError as error:
            faults += error.faults
        else:
            problem = "holds NaN for a blank, or blanks round a word"
            faults.append(Fault(there, None, "", "", problem, "write NULL for a blank, and each word by itself"))
    more = int(run(looked_at.count())) - len(found)
    if more > 0:
        remedy = "mend the table where it is made; calib.read_known names every fault of a file"
        faults.append(Fault(TABLE, None, "", "", f"{more} more records are to be looked at", remedy))
    raise InputError(faults)


def _count(table: ibis.Table, run: Any) -> tuple[int, bool]:
    """Number of records, and whether any is simulated."""
    flagged = table["simulated"].cast("boolean").any() if "simulated" in table.columns else table.count() < 0
    found = run(table.aggregate(count=table.count(), simulated=flagged)).iloc[0]
    return int(found["count"]), bool(found["simulated"])


def _text(table: ibis.Table, name: str) -> Any:
    import ibis

    return ibis.coalesce(table[name].cast("string"), "")


def _sampled(table: ibis.Table, count: int, wanted: int) -> ibis.Table:
    """About so many records, by the first digits of a hash (MD5) of contributor and unit: the same on any engine."""
    columns = {name: _text(table, name) for name in TEXTS if name in table.columns}
    columns |= {name: table[name].cast("float64") for name in NUMBERS if name in table.columns}
    if "simulated" in table.columns:
        columns["simulated"] = table["simulated"]
    if count > wanted:
        limit = f"{int(wanted / count * 16**HASH_DIGITS):0{HASH_DIGITS}x}"
        digest = (columns["contributor"] + SEPARATOR + columns["unit"]).hexdigest("md5")
        table = table.filter(digest < limit)
    return table.select(**columns)


def _start(rows: Facts, layout: Layout, sides: Sides, unmeasured: Unmeasured, prior: Prior) -> State:
    """Where the passes over the sample begin: the solution of a few records at the scales' prior, benches alike."""
    few = rows.take(np.arange(0, len(rows), 1 + len(rows) // START_ROWS))
    begun = Problem(few, Layout(()), sides, unmeasured, prior).solve(scales_at(np.zeros(ALL), prior.main))
    mean, covariance = np.zeros(layout.width), np.zeros((layout.width,) * 2)
    mean[: len(begun.mean)] = begun.mean
    covariance[: len(begun.mean), : len(begun.mean)] = begun.covariance
    return State(mean, covariance, np.zeros(ALL), begun.share)


def _cells(ready: ibis.Table, run: Any, layout: Layout) -> Cells:
    """The cells that occur; a record that cannot be placed or has no reading is refused."""
    blank = ready["yielded"].isnull() | ready["reading_variance"].isnull()
    found = run(ready.group_by("kind", "cell").aggregate(count=ready.count(), blank=blank.sum()))
    wrong = int(found.loc[found["cell"].isna(), "count"].sum() + found.loc[found["cell"].notna(), "blank"].sum())
    _refuse(wrong)
    found = found.sort_values(["kind", "cell"])
    cell, kind, each = (found[name].to_numpy(dtype=np.int64) for name in ("cell", "kind", "count"))
    return Cells(cell, kind, each, layout)


def _refuse(wrong: int) -> None:
    if wrong:
        raise CannotError(f"{wrong} records lack a needed reading, evidence or supply; calib.read_known names them")


@contextmanager
def _held(expression: ibis.Table, backend: Any) -> Iterator[ibis.Table]:
    """A table of what an expression gives, held where the passes run, for as long as they need it."""
    name = f"calib_passes_{uuid4().hex}"
    backend.create_table(name, expression, temp=True)
    try:
        yield backend.table(name)
    finally:
        backend.raw_sql(f"DROP TABLE {name}")


@contextmanager
def _frugal(backend: Any) -> Iterator[None]:
    """Expressions written step by step as they stand; DuckDB within its memory and free to read in any order."""
    import ibis

    fused, ibis.options.sql.fuse_selects = ibis.options.sql.fuse_selects, False
    before = _set(backend, _duckdb_settings(backend)) if backend.name == "duckdb" else {}
    try:
        yield
    finally:
        ibis.options.sql.fuse_selects = fused
        _set(backend, before)


def _duckdb_settings(backend: Any) -> dict[str, str]:
    settings = {"memory_limit": MEMORY, "preserve_insertion_order": "false"}
    # This step of the planner takes a second over a pass and changes nothing; older versions do not have it.
    slow = "partial_aggregate_pushdown"
    if (slow,) in backend.raw_sql("SELECT name FROM duckdb_optimizers()").fetchall():
        settings["disabled_optimizers"] = slow
    return settings


def _set(backend: Any, settings: dict[str, str]) -> dict[str, str]:
    """Change settings of a DuckDB backend; gives what they were."""
    before = {}
    for name, value in settings.items():
        before[name] = backend.raw_sql(f"SELECT current_setting('{name}')").fetchone()[0]
        backend.raw_sql(f"SET {name} = '{value}'")
    return before
