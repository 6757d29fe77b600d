"""The fit of a register that is too large for memory: a sample for the start, then passes over the table.

The sample sets the imputation and where the passes begin; the coefficients, the share of unsound records and the
scales are those of all records, and the scales are averaged over as for few.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import numpy as np
from scipy.linalg import cho_solve

from calib.errors import Fault, InputError
from calib.fitting.features import SEPARATOR, Features, features_of, one_each, repeated
from calib.fitting.imputation import Imputation, impute
from calib.fitting.mixture import Iteration, Posterior, judged, same_digits, unsettled, unsound_share
from calib.fitting.model import Design, Unmeasured, VarianceComponents, is_placed, refuse
from calib.fitting.outofcore.features import NUMBERS, TEXTS, faulty, features_expression, prepared, text_of
from calib.fitting.outofcore.passes import Cells, Equations, summed
from calib.fitting.prior import Prior, load_prior
from calib.fitting.report import content_hash
from calib.fitting.variance_components import (
    ALL,
    EMSolver,
    QuadraturePoint,
    mode_of,
    quadrature_of,
    scale_step,
    scales_at,
)
from calib.register.frame import column_faults
from calib.register.records import KnownUnit, columns

if TYPE_CHECKING:
    import ibis
    import pandas as pd

SAMPLE_ROWS = 40_000
START_ROWS = 2000  # of the sample that the first start is found by
HASH_DIGITS = 12
MOST_PASSES, MOST_ON_SAMPLE = 8, 40
MOST_NAMED = 20  # records of a table whose faults are told one by one
TABLE = "known units (table)"
MEMORY = "1GB"  # what DuckDB may hold while the passes run
# What may be left to come when the passes end, of a coefficient in ln multiplier and of the noise in standard
# deviations of its prior; the rate at which movements are taken to die away before two are known, and the slowest.
REST, NOISE_REST, RATE, SLOWEST = 5e-4, 1e-2, 0.5, 0.9


@dataclass(frozen=True)
class Quadratic:
    """The log-likelihood round a point, up to a constant.

    Attributes
    ----------
    equations : Equations
        Its slopes and information there.
    mean : numpy.ndarray, shape (p,)
        The coefficients there.
    scales : VarianceComponents
        The scales there.
    share : float
        Share of unsound records.
    design, prior
        How the coefficients are laid out, and what is known of them beforehand.
    """

    equations: Equations
    mean: np.ndarray
    scales: VarianceComponents
    share: float
    design: Design
    prior: Prior

    def solve(self, scales: VarianceComponents, start: Posterior | None = None) -> Posterior:
        """Posterior at these scales, no record judged; the bound is that of the evidence but for a constant."""
        centre, precision = self.design.prior(self.prior, scales)
        pull = precision @ (centre - self.mean) + self.equations.pull
        factor = np.linalg.cholesky(precision + self.equations.precision)
        covariance = cho_solve((factor, True), np.eye(len(pull)))
        move = covariance @ pull
        away = self.mean + move - centre
        fit = self.equations.pull @ move - 0.5 * move @ self.equations.precision @ move - 0.5 * away @ precision @ away
        bound = fit + 0.5 * np.linalg.slogdet(precision)[1] - np.log(np.diag(factor)).sum() + self._of_variance(scales)
        return Posterior(self.mean + move, covariance, np.empty(0), np.empty((0, 0)), self.share, float(bound))

    def step(self, scales: VarianceComponents, posterior: Posterior) -> tuple[np.ndarray, np.ndarray]:
        """Slope and information of the log-likelihood in the ln of the scales."""
        slope, information = self._in_variance()
        slope = slope - information * self._change(scales) / 2
        return scale_step(self.design, scales, posterior, slope.sum(axis=0), information.sum(axis=0))

    def _in_variance(self) -> tuple[np.ndarray, np.ndarray]:
        """Twice the slope and four times the information in the variance, with a core and without, by grade."""
        noise = self.scales.noise**2
        return self.equations.noise_slope / noise, self.equations.noise_information / noise**2

    def _change(self, scales: VarianceComponents) -> np.ndarray:
        """Change of the records' variance; the class of one without a core is unknown."""
        noise = scales.noise**2 - self.scales.noise**2 + np.square(scales.grades) - np.square(self.scales.grades)
        return np.array([noise, noise + scales.size_class**2 - self.scales.size_class**2])

    def _of_variance(self, scales: VarianceComponents) -> float:
        """Change of the log-likelihood with the variance of the records."""
        slope, information = self._in_variance()
        change = self._change(scales)
        return float(np.sum(slope * change / 2 - information * change**2 / 8))


@dataclass(frozen=True)
class State:
    """Where the passes stand.

    Attributes
    ----------
    mean, covariance : numpy.ndarray
        Of the coefficients.
    u : numpy.ndarray, shape (8,)
        The scales, in units of their prior's standard deviation.
    share : float
        Share of unsound records.
    """

    mean: np.ndarray
    covariance: np.ndarray
    u: np.ndarray
    share: float


@dataclass(frozen=True)
class Passes:
    """Passes over one table of records.

    Attributes
    ----------
    rows : ibis.Table
        As passes.prepared gives it, held where the table lives.
    backend : ibis.backends.BaseBackend
        Where that is.
    cells : Cells
        The cells that occur there.
    imputation, unmeasured, prior
        As in an EMSolver.
    queries : dict of int to (str, list of str)
        What asks for the sums of each kind over tables of these names, and the columns of the answer; filled in here.
    """

    rows: ibis.Table
    backend: Any
    cells: Cells
    imputation: Imputation
    unmeasured: Unmeasured
    prior: Prior
    queries: dict[int, tuple[str, list[str]]]

    @property
    def count(self) -> float:
        """How many records the table holds."""
        return float(self.cells.count.sum())

    def scales(self, state: State) -> VarianceComponents:
        """The scales of a state."""
        return scales_at(state.u, self.prior.main)

    def equations(self, state: State) -> Equations:
        """One pass."""
        import ibis

        at = self.cells.at(state.mean, self.scales(state), state.share, self.unmeasured, self.imputation)
        with _held(ibis.memtable(at), self.backend, f"{self.rows.get_name()}_cells") as cells:
            kinds = [int(kind) for kind in np.unique(self.cells.kind)]
            sums = {kind: self._summed(kind, cells).sort_values("cell") for kind in kinds}
        return Equations.of(sums, self.cells)

    def _summed(self, kind: int, cells: ibis.Table) -> pd.DataFrame:
        """The sums of one kind; their query is written once, which takes longer than a pass over few records."""
        import pandas as pd

        if kind not in self.queries:
            written = summed(self.rows, cells, kind, self.imputation, self.prior)
            self.queries[kind] = self.backend.compile(written), list(written.columns)
        query, names = self.queries[kind]
        found = self.backend.raw_sql(query)
        return found.df() if self.backend.name == "duckdb" else pd.DataFrame(found.fetchall(), columns=names)

    def quadratic(self, state: State) -> Quadratic:
        """What the records say round a state, by one pass."""
        design = self.cells.design
        return Quadratic(self.equations(state), state.mean, self.scales(state), state.share, design, self.prior)

    def to_rest(self, state: State, most: int) -> tuple[State, Quadratic, Iteration]:
        """The state when little is left to come, or after so many passes, the last pass, and how it ended.

        The movements of an expectation maximisation die away by a rate: the rest is a geometric series.
        """
        last, passes, converged = np.inf, 0, False
        while not converged and passes < most:
            passes += 1
            before, found = state, self.quadratic(state)
            u, posterior, _ = mode_of(found, self.prior.main)
            counted = found.equations.counts
            share = unsound_share(counted - found.equations.sound, counted)
            state = State(posterior.mean, posterior.covariance, u, share)
            moved, noise = np.max(np.abs(state.mean - before.mean)), abs(u[0] - before.u[0])
            rate = min(moved / last, SLOWEST) if np.isfinite(last) else RATE
            converged = bool(moved * rate / (1 - rate) < REST and noise * rate / (1 - rate) < NOISE_REST)
            last = moved
        return state, found, Iteration("passes over the table", passes, most, converged)


def frame_parts(known: pd.DataFrame, published: pd.DataFrame | None = None) -> dict[str, Any]:
    """Parts of the fit to a large data frame, see table_parts; of a record that is given twice the last counts.

    Published windings are learned from beside; the counts are of the known units alone.
    """
    import ibis
    import pandas as pd

    one = known.drop_duplicates(["contributor", "unit"], keep="last")
    repeats = len(known) - len(one)
    one = one if published is None else pd.concat([one, published], ignore_index=True)
    held = [name for name in (*TEXTS, *NUMBERS, "simulated") if name in one]
    backend = ibis.duckdb.connect()
    prior = load_prior(known_beside=published is not None)
    parts = _parts(backend.create_table("known", ibis.memtable(one[held])), SAMPLE_ROWS, prior)
    backend.disconnect()
    if published is not None:
        parts |= _apart(parts, published)
    return {**parts, "notes": (*repeated(repeats), *parts["notes"])}


def _apart(parts: dict[str, Any], published: pd.DataFrame) -> dict[str, Any]:
    """Those parts again that tell published windings from known units."""
    rows, added = parts["rows"], features_of(published).frame
    counts = Counter(added[["size_class", "rectifier", "filter"]].itertuples(index=False, name=None))
    keys = set(zip(added["contributor"], added["unit"], strict=True))
    marked = [one in keys for one in zip(rows.frame["contributor"], rows.frame["unit"], strict=True)]
    return {
        "rows": replace(rows, frame=rows.frame.assign(published=marked)),
        "records": parts["records"] - len(published),
        "published": len(published),
        "class_counts": dict(Counter(parts["class_counts"]) - counts),
    }


def table_parts(table: ibis.Table, sample_rows: int) -> dict[str, Any]:
    """Parts of the fit to a table: what a Multiplier is made of, by name; see multiplier.fit_table."""
    _refuse_faulty(table, table.get_backend().execute)
    return _parts(table, sample_rows, load_prior())


@same_digits
def _parts(table: ibis.Table, sample_rows: int, prior: Prior) -> dict[str, Any]:
    backend = table.get_backend()
    with _frugal(backend):
        return _fit(table, backend, sample_rows, prior)


def _fit(table: ibis.Table, backend: Any, sample_rows: int, prior: Prior) -> dict[str, Any]:
    import ibis

    run = backend.execute
    count, simulated = _count(table, run)
    names = [text_of(table, "contributor"), text_of(table, "maker").strip().lower()]
    design = Design.of(*(run(table.select(name=one).distinct())["name"] for one in names))
    frame = run(_sampled(table, count, sample_rows))
    rows, notes = one_each(features_of(frame))
    refuse(int(np.sum(~is_placed(rows))))
    imputation = impute(rows, prior)
    state = _start(rows, design, imputation, prior)
    held = f"calib_passes_{uuid4().hex}"
    queries: dict[int, tuple[str, list[str]]] = {}
    for source, most in ((ibis.memtable(frame), MOST_ON_SAMPLE), (table, MOST_PASSES)):
        unmeasured = Unmeasured.of(state.mean, state.covariance)
        with _held(prepared(features_expression(source), design, imputation, prior), backend, held) as ready:
            passes = Passes(ready, backend, _cells(ready, run, design), imputation, unmeasured, prior, queries)
            state, found, ended = passes.to_rest(state, most)
    points, search = _quadrature(EMSolver(rows, design, imputation, unmeasured, prior), state, found)
    iterations = (*imputation.iterations, ended, search)
    note = f"{len(rows)} of {count} known units are held for what is said of single records"
    name = sha256(content_hash(rows).encode() + state.mean.tobytes() + state.covariance.tobytes()).hexdigest()[:16]
    return {
        "rows": rows,
        "records": count,
        "simulated": simulated,
        "class_counts": passes.cells.classes(),
        "design": design,
        "imputation": imputation,
        "unmeasured": unmeasured,
        "prior": prior,
        "quadrature": points,
        "content_hash": name,
        "notes": (*notes, note, *unsettled(iterations)),
        "iterations": iterations,
    }


def _quadrature(solver: EMSolver, state: State, found: Quadratic) -> tuple[tuple[QuadraturePoint, ...], Iteration]:
    """Quadrature over the scales, the records that are held judged once: their odds hardly change between points."""
    one = judged(solver.evidence(scales_at(state.u, solver.prior.main)), state.mean, state.covariance, state.share)
    points, search = quadrature_of(found, solver.prior.main)
    held = [replace(at.posterior, weight=one.weight, responsibilities=one.responsibilities) for at in points]
    return tuple(replace(at, posterior=its) for at, its in zip(points, held, strict=True)), search


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
            faults.append(
                Fault(there, None, "", "", problem, "write NULL for a blank, and each word by itself", "text")
            )
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


def _sampled(table: ibis.Table, count: int, wanted: int) -> ibis.Table:
    """About so many records, by the first digits of a hash (MD5) of contributor and unit: the same on any engine."""
    columns = {name: text_of(table, name) for name in TEXTS if name in table.columns}
    columns |= {name: table[name].cast("float64") for name in NUMBERS if name in table.columns}
    if "simulated" in table.columns:
        columns["simulated"] = table["simulated"]
    if count > wanted:
        limit = f"{int(wanted / count * 16**HASH_DIGITS):0{HASH_DIGITS}x}"
        digest = (columns["contributor"] + SEPARATOR + columns["unit"]).hexdigest("md5")
        table = table.filter(digest < limit)
    return table.select(**columns)


def _start(rows: Features, design: Design, imputation: Imputation, prior: Prior) -> State:
    """Where the passes over the sample begin: the posterior of a few records at the scales' prior, benches alike."""
    few = rows.take(np.arange(0, len(rows), 1 + len(rows) // START_ROWS))
    unmeasured = Unmeasured.before(prior)
    begun = EMSolver(few, Design(()), imputation, unmeasured, prior).solve(scales_at(np.zeros(ALL), prior.main))
    mean, covariance = np.zeros(design.width), np.zeros((design.width,) * 2)
    mean[: len(begun.mean)] = begun.mean
    covariance[: len(begun.mean), : len(begun.mean)] = begun.covariance
    return State(mean, covariance, np.zeros(ALL), begun.share)


def _cells(ready: ibis.Table, run: Any, design: Design) -> Cells:
    """The cells that occur; a record that cannot be placed or has no reading is refused."""
    blank = ready["yielded"].isnull() | ready["reading_variance"].isnull()
    found = run(ready.group_by("kind", "cell").aggregate(count=ready.count(), blank=blank.sum()))
    wrong = int(found.loc[found["cell"].isna(), "count"].sum() + found.loc[found["cell"].notna(), "blank"].sum())
    refuse(wrong)
    found = found.sort_values(["kind", "cell"])
    cell, kind, each = (found[name].to_numpy(dtype=np.int64) for name in ("cell", "kind", "count"))
    return Cells(cell, kind, each, design)


@contextmanager
def _held(expression: ibis.Table, backend: Any, name: str) -> Iterator[ibis.Table]:
    """A table of what an expression gives, held where the passes run, for as long as they need it."""
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
