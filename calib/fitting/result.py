"""The fit and its result: what the known units teach of the multiplier and its scatter, also as a file."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from functools import cached_property
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, cast, get_args, get_origin, get_type_hints

import numpy as np

from calib.errors import InputError
from calib.fitting import report, tables, validation
from calib.fitting.features import Features, features_of, one_each
from calib.fitting.imputation import impute
from calib.fitting.mixture import same_digits, soundness, unsettled
from calib.fitting.model import Design, Unmeasured, is_placed, refuse
from calib.fitting.outofcore.fit import SAMPLE_ROWS, frame_parts, table_parts
from calib.fitting.predictive import DEFAULT_LEVEL, Fitted, Prediction, RatedCurrent, check_level
from calib.fitting.prior import Prior, load_prior
from calib.fitting.report import Regression
from calib.fitting.validation import Check
from calib.fitting.variance_components import ALL, EMSolver, quadrature_of, scales_at
from calib.paths import shipped
from calib.register.frame import checked
from calib.register.records import KnownUnit
from calib.register.tables import read_known

if TYPE_CHECKING:
    import ibis
    import pandas as pd

    from calib.fitting.predictive import Readings

FORMAT = "calib fit, version 2"
LARGE = 20_000  # known units beyond which the fit goes over a table in passes


class Multiplier(Fitted):
    """What the known units teach: the multiplier, how it falls with size, its scatter, and the doubtful records.

    ``str()`` is a report for people; the methods give data frames. Two intervals are kept apart: the mean of a class
    (:meth:`classes`) and the rating of one unit (:meth:`estimate`).
    """

    @property
    def nobs(self) -> int:
        """How many known units made the fit, as statsmodels names it."""
        return self.records

    @property
    def params(self) -> pd.Series:
        """The coefficients by name, medians of their posterior mixture [ln multiplier]."""
        return self.terms(self.level).set_index("name")["value"]

    @property
    def bse(self) -> pd.Series:
        """Their posterior standard deviations, the scales averaged over [ln multiplier]."""
        import pandas as pd

        return pd.Series(np.sqrt(np.diag(self.average[1])), self.params.index, name="sd")

    def conf_int(self, level: float = DEFAULT_LEVEL) -> pd.DataFrame:
        """The interval that holds each coefficient with a probability: low, high, level, by name [ln multiplier]."""
        return self.terms(level).set_index("name")[["low", "high", "level"]]

    @property
    def fittedvalues(self) -> pd.Series:
        """ln(k m) of the known units by the coefficients, by contributor and unit (of a large register the sample)."""
        return self._by_record(self.mean_of(self.matrix(self.rows), self.level)[0], "fitted")

    @property
    def resid(self) -> pd.Series:
        """ln(k m) of the known units less their fitted values, likewise."""
        return self._by_record(self.rows.response, "residual") - self.fittedvalues

    def _by_record(self, values: np.ndarray, name: str) -> pd.Series:
        import pandas as pd

        return pd.Series(values, pd.MultiIndex.from_frame(self.rows.frame[["contributor", "unit"]]), name=name)

    def summary(self, level: float | None = None) -> str:
        """The report for people: what made the fit, the multiplier by size class, and what is doubtful."""
        return report.summary(self if level is None else replace(self, level=check_level(level)))

    def predict(self, unknown: Readings, as_read: bool = False) -> RatedCurrent:
        """How the ratings of unknown units are distributed: mean, median, interval, sf and pdf, in mA.

        Parameters
        ----------
        unknown : pandas.DataFrame, UnknownUnit or mapping
            As :meth:`estimate` takes them.
        as_read : bool
            Whether every reading is taken as sound; else the distribution is the mixture over that and the slips, also
            where :meth:`estimate` withholds its figures.

        Returns
        -------
        RatedCurrent
            One distribution a unit, in the same order.
        """
        return Prediction.of(self, unknown, as_read).rated

    def save(self, path: str | Path) -> None:
        """Write the fit into a file (JSON) that :meth:`load` reads: its figures come back digit by digit."""
        Path(path).write_text(_written(self), encoding="utf-8")

    @classmethod
    def load(cls, path: str | Path) -> Multiplier:
        """Read a fit that :meth:`save` wrote; InputError where the file is no such one, or was changed."""
        return _read(path)

    def provenance(self) -> pd.DataFrame:
        """Which records, prior and settings made the fit: columns part and value.

        Hashes first (of a large register's, the records that are held), then each setting by name.
        """
        return report.provenance(self)

    made_of = provenance  # the name by which it was first known

    def classes(self, level: float = DEFAULT_LEVEL) -> pd.DataFrame:
        """Multiplier by size class and supply, with confidence limits of the class's mean at `level` [mA per V/ohm]."""
        return tables.classes(self, level)

    def terms(self, level: float = DEFAULT_LEVEL) -> pd.DataFrame:
        """Coefficients of the fit in ln multiplier: name, value, low, high, level."""
        return tables.terms(self, level)

    def suspects(self) -> pd.DataFrame:
        """Known units that are doubtful, the most doubtful first, with the slip that would explain each."""
        return tables.suspects(self)

    def conflicts(self) -> pd.DataFrame:
        """Where the known units contradict the prior, or one bench or maker the others, beyond 1 in 100; else no row.

        kind (level, slope, noise, maker, bench, doubts), name, found and expected, tail (probability of so much where
        nothing contradicts), said: a sentence of it.
        """
        return report.frame_of(self)

    def line(self, rectifier: str, filter: str, level: float, areas: np.ndarray) -> pd.DataFrame:
        """Multiplier over core area for one supply: mean with confidence band, and the band of single units."""
        return tables.line(self, rectifier, filter, level, areas)

    def points(self, rectifier: str, filter: str) -> pd.DataFrame:
        """The known units, their multipliers brought to one supply; doubtful as in :meth:`suspects`.

        Published windings that were learned from stand among them, own False; without a core its area is NaN.
        """
        return tables.points(self, rectifier, filter)

    def estimate(self, unknown: Readings, level: float = DEFAULT_LEVEL, as_read: bool = False) -> pd.DataFrame:
        """Rated current of unknown units with the interval that holds each unit's own rating.

        Parameters
        ----------
        unknown : pandas.DataFrame, UnknownUnit or mapping
            As :func:`calib.read_unknown` gives it, or made by hand with the same columns; it is not changed. A
            record, or its fields by name, is one unit.
        level : float
            Probability of the interval, above 0 and below 1.
        as_read : bool
            Whether every reading is taken as sound: no current is withheld then, and none is a mixture.

        Returns
        -------
        pandas.DataFrame
            One row a unit, in the same order; no_load_v [V rms, whole winding], v_over_r [V/ohm], multiplier and its
            limits [mA per V/ohm], rated_current_ma, low_ma, high_ma, floor_ma [mA], odds_of_demand [0 to 1], odds_sound
            [0 to 1]: that no slip is in its readings. The currents are the mixture over that and the slips. Below 0.8,
            flagged suspect-reading, likely_slip and repaired_ma, repaired_low_ma, repaired_high_ma [mA] tell what its
            repair would give; below 0.1, or where the median is no set's (1 mA to 10 A), the currents are withheld.
            predictors names what carried the current, unused the columns that were given and did not move it.
            unit_multiplier [mA per V/ohm] times v_over_r is rated_current_ma. The flag improbable marks readings that
            :func:`calib.improbabilities` has something to say of.

        Raises
        ------
        ValueError
            A level outside 0 to 1.
        InputError
            The frame would be refused as a file: with every fault, each naming its row as ``iloc`` counts.
        """
        check_level(level)
        return tables.estimates(Prediction.of(self, unknown, as_read), level)

    @same_digits
    def check(self, level: float = DEFAULT_LEVEL) -> Check:
        """Each known unit estimated from the others: how often its rating lay inside its interval."""
        return validation.leave_one_out(self, check_level(level))

    @same_digits
    def left_out(self, level: float = DEFAULT_LEVEL) -> pd.DataFrame:
        """Each known unit estimated from the others, beside the direct current that its record states.

        Columns contributor, unit, evidence, size_class, core_area_cm2 [cm²], stated_ma, low_ma, rated_current_ma,
        high_ma [mA], inside, level. Records in doubt are not asked. :meth:`check` sums it up.
        """
        return validation.left_out(self, check_level(level))

    def comparison(self, level: float = DEFAULT_LEVEL, contributors: bool = True) -> pd.DataFrame:
        """This fit beside two rules of thumb on the same units, with single units and whole contributors left out.

        Columns left_out, method, folds, coverage, level, median_error, interval_score. Each contributor left out is a
        fit of its own; without `contributors` only units are.
        """
        refit = (lambda rows: fit_rows(rows, self.prior)) if contributors else None
        return validation.comparison(self, check_level(level), refit)

    @cached_property
    def regression(self) -> Regression:
        """The conditional regression, given the scales at their mode, as statsmodels has it: summary and influence.

        Its coefficients agree with the mode's to rounding; those of the fit (:attr:`params`) average over the scales.
        """
        return report.regression(self)

    def __str__(self) -> str:
        return self.summary()

    def __repr__(self) -> str:
        return f"<Multiplier: {self.records} records of {self.benches} contributors, fit {self.content_hash}>"

    def _repr_html_(self) -> str:
        return report.as_html(self)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Multiplier) and other.content_hash == self.content_hash

    def __hash__(self) -> int:
        return hash(self.content_hash)


def fit(known: pd.DataFrame, published: bool = False) -> Multiplier:
    """Fit the multiplier to known units.

    Parameters
    ----------
    known : pandas.DataFrame
        As :func:`calib.read_known` gives it, or made by hand with the same columns; none is a valid number (the result
        is then the prior's). Not changed.
    published : bool
        Whether the published windings (:func:`published_windings`) are learned from beside them. They are never counted
        as the known units' own, and never beside simulated ones.

    Returns
    -------
    Multiplier
        Complete; it prints a summary.

    Raises
    ------
    InputError
        The frame would be refused as a file: with every fault, each naming its row as ``iloc`` counts. Or published
        windings are asked for beside simulated units.
    CannotError
        More contributors than can be told apart.

    Notes
    -----
    The model::

        ln(k m) = a + b ln(A/10 cm²) + c ln(f/60 Hz) + d ln[(V/R)/2] + e ln(V/600 V) + g w + h p
                  + j q + supply + evidence + era + size class + maker + contributor + error

    with m = I/(V/R) the multiplier [mA per V/ohm], I the rated direct current [mA], V the no-load voltage [V] and R the
    resistance at 20 °C [ohm] of the whole winding; k the winding's rms current per direct current of the supply [1];
    A the core's gross area [cm²]; f the line's frequency [Hz]; w, p and q by how much wire, primary and weight depart,
    in their logarithms, from what the readings before them lead one to expect. a to j come under the design model's
    prior; supply, evidence, era, size class, maker and contributor are deviations. Each record is sound, with a normal
    error, or grossly wrong in one of twelve ways; which is found with the coefficients by expectation maximisation
    (variational Bayes; Bishop, Pattern Recognition and Machine Learning, chapter 10). The standard deviations of error,
    class and contributor are averaged over by quadrature round their mode. No chance is used: the same records give the
    same digits in any order. More than 20 000 records are fitted in passes over a table, see :func:`calib.fit_table`.
    """
    known, beside = checked(KnownUnit, known), published_windings() if published else None
    if beside is not None:
        refuse_mixed(known, "published", "True")
    if len(known) > LARGE:
        return Multiplier(**frame_parts(known, beside))
    rows, notes = one_each(features_of(known))
    if beside is not None:
        rows = rows.beside(features_of(beside))
    return fit_rows(rows, load_prior(known_beside=published), notes)


def refuse_mixed(known: pd.DataFrame, asked: str, value: str, where: str = "") -> None:
    """Refuse published windings beside simulated units; `asked`, `value` and `where` are how they were asked for."""
    if known["simulated"].fillna(False).astype(bool).any():
        said, remedy = "real published windings are never mixed with simulated units", f"leave {asked} out"
        raise InputError.one(said, remedy, column=asked, value=value, where=where, code="conflict")


def published_windings() -> pd.DataFrame:
    """Real windings from a maker's part drawings, as known units; the descriptor in datasets/published names it.

    One present-day maker, 38 to 386 VA, rated in rms amperes: none of the valve era.
    """
    return read_known(shipped("datasets/published/known.csv"))


def fit_table(table: ibis.Table, sample_rows: int = SAMPLE_ROWS) -> Multiplier:
    """Fit the multiplier to a table of known units that stays where it is.

    Parameters
    ----------
    table : ibis.Table
        Known units with the contract's columns, blanks NULL, one row a (contributor, unit), on any engine that Ibis
        writes for.
    sample_rows : int
        About how many records are brought into memory, chosen by a hash of contributor and unit.

    Returns
    -------
    Multiplier
        As :func:`fit` gives it; its rows, suspects and check are those of the sample.

    Raises
    ------
    InputError
        Records that a file would be refused for: the first twenty named with every fault, the rest counted. What only
        each row by itself would show is not looked for: blanks round words, characters that cannot be printed, one
        record standing twice.
    CannotError
        More contributors than can be told apart.
    """
    return Multiplier(**table_parts(table, sample_rows))


@same_digits
def fit_rows(rows: Features, prior: Prior, notes: tuple[str, ...] = ()) -> Multiplier:
    """The fit to the features of known units, under a prior."""
    design = Design.of(rows.frame["contributor"], rows.frame["maker"])
    refuse(int(np.sum(~is_placed(rows))))
    imputation = impute(rows, prior)
    first = EMSolver(rows, design, imputation, Unmeasured.before(prior), prior)
    begun = first.solve(scales_at(np.zeros(ALL), prior.main))
    # Again by the records that are sound by their currents too: half a resistance hides among cores.
    imputation = impute(rows, prior, begun.responsibilities[:, 0])
    unmeasured = Unmeasured.of(begun.mean, begun.covariance)
    quadrature, search = quadrature_of(EMSolver(rows, design, imputation, unmeasured, prior), prior.main)
    iterations = (*imputation.iterations, search, soundness([begun, *(point.posterior for point in quadrature)]))
    return Multiplier(
        rows=rows,
        records=int(np.sum(rows.own)),
        published=int(np.sum(~rows.own)),
        simulated=bool(rows.frame["simulated"].any()),
        class_counts=Counter(
            rows.frame.loc[rows.own, ["size_class", "rectifier", "filter"]].itertuples(index=False, name=None)
        ),
        design=design,
        imputation=imputation,
        unmeasured=unmeasured,
        prior=prior,
        quadrature=quadrature,
        content_hash=report.content_hash(rows),
        notes=(*notes, *unsettled(iterations)),
        iterations=iterations,
    )


def _written(model: Multiplier) -> str:
    """The text of a file that holds a fit: its parts as plain values, arrays by their place in a list of them."""
    arrays: list[np.ndarray] = []
    content = {"fit": _plain(model, arrays), "arrays": [_numbers(one) for one in arrays]}
    return _text({"format": FORMAT, "sha256": _sum(content), **content}) + "\n"


def _read(path: str | Path) -> Multiplier:
    """The fit that a file holds; InputError where it cannot be read, is no such file or was changed."""
    remedy = "give a file that Multiplier.save wrote, or fit the known units anew"
    try:
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError.one(f"cannot be read ({type(error).__name__})", remedy, where=str(path), code="file") from None
    try:
        held = json.loads(text)
        if held["format"] != FORMAT:
            raise ValueError
    except (ValueError, TypeError, KeyError):
        raise InputError.one(
            "is no file of a fit that this calib reads", remedy, where=str(path), code="file"
        ) from None
    try:
        if held["sha256"] != _sum({"fit": held["fit"], "arrays": held["arrays"]}):
            raise ValueError
        arrays = [_array(one) for one in held["arrays"]]
        return _made(Multiplier, held["fit"], arrays)
    except (ValueError, TypeError, KeyError, IndexError, AttributeError):
        raise InputError.one(
            "was changed since it was written, or is damaged", remedy, where=str(path), code="file"
        ) from None


def _text(content: object) -> str:
    return json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _sum(content: object) -> str:
    return sha256(_text(content).encode()).hexdigest()


def _numbers(array: np.ndarray) -> dict[str, Any]:
    """An array in the order of its memory: a product of matrices may differ in its last digit where that is another."""
    order: Literal["C", "F"] = "F" if array.flags.f_contiguous and not array.flags.c_contiguous else "C"
    values = [None if value != value else value for value in array.ravel(order).tolist()]
    return {"dtype": str(array.dtype), "shape": array.shape, "order": order, "values": values}


def _array(held: Mapping[str, Any]) -> np.ndarray:
    if (order := held["order"]) not in ("C", "F"):
        raise ValueError
    return np.array(held["values"], held["dtype"]).reshape(held["shape"], order=order)


def _plain(value: Any, arrays: list[np.ndarray]) -> Any:
    if is_dataclass(value):
        return {one.name: _plain(getattr(value, one.name), arrays) for one in fields(value)}
    if isinstance(value, np.ndarray):
        arrays += [] if any(value is one for one in arrays) else [value]
        return next(place for place, one in enumerate(arrays) if one is value)
    if hasattr(value, "columns"):
        return {name: _plain(value[name].to_numpy(), arrays) for name in value.columns}
    if isinstance(value, Mapping):
        return [[list(key), number] for key, number in value.items()]
    if isinstance(value, tuple):
        return [_plain(one, arrays) for one in value]
    return None if value != value else value


def _made(kind: Any, plain: Any, arrays: list[np.ndarray]) -> Any:
    import pandas as pd

    if is_dataclass(kind):
        hints = get_type_hints(kind, localns={"pd": pd})
        return cast(Any, kind)(**{one.name: _made(hints[one.name], plain[one.name], arrays) for one in fields(kind)})
    if kind is np.ndarray:
        return arrays[plain]
    if kind is pd.DataFrame:
        return pd.DataFrame({name: arrays[place] for name, place in plain.items()})
    if get_origin(kind) is tuple:
        return tuple(_made(get_args(kind)[0], one, arrays) for one in plain)
    if get_origin(kind) is Mapping:
        return {tuple(key): number for key, number in plain}
    return float("nan") if kind is float and plain is None else plain
