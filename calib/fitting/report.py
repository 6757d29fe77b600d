"""What is said of a fit as a whole: its report in words, what made it, its regression; and where units contradict it.

Before the known units are looked at, the posterior mean of a linear form of the coefficients is itself normal, about
the prior mean, with the variance that they take off it (law of total variance). What is found is held against that: a
departure is told where, of registers that are as the prior has them, about 1 in 100 would have any told, each kind by
its share of BEYOND (Bonferroni). Published windings that are learned from beside belong to what is
expected. The level of units of the valve era is open by half (ERA_SD), so of those little contradicts.
"""

from __future__ import annotations

import hashlib
import json
import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from html import escape
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import ndtr
from scipy.stats import betabinom

from calib.fitting.features import COARSE, COARSE_FROM_PCT, CORE, READINGS, V_OVER_R, Features
from calib.fitting.gross_errors import ERROR_NAMES, LOG_SHARES
from calib.fitting.imputation import UNSOUND, UNSOUND_SD, VOLTS_LN_SPREAD, VOLTS_OFF, VOLTS_SPREAD
from calib.fitting.mixture import SHARE_PRIOR
from calib.fitting.model import DRIFT_SD, DRIFT_WITH_WIRE_SD, ERA_SD, GRADES, Design
from calib.fitting.predictive import Fitted
from calib.fitting.prior import FILE, MAIN, MAKER_SD, OF_SOURCES, SCATTER_SPREAD, SOURCES
from calib.fitting.tables import classes, frame, suspects, usual_frequency
from calib.fitting.variance_components import (
    CLASS_SD,
    CLASS_SPREAD,
    CONTRIBUTOR_SD,
    CONTRIBUTOR_SPREAD,
    GRADE_SPREAD,
    EMSolver,
)
from calib.units import odds

if TYPE_CHECKING:
    import pandas as pd
    from statsmodels.regression.linear_model import RegressionResults
    from statsmodels.stats.outliers_influence import OLSInfluence

# Half of 1 in 100: that records may be unsound makes the tails heavier than normal ones (500 registers drawn from the
# prior, of 12 and of 30 units, said it 9 times at 0.01).
BEYOND = 0.005
LEAST_TAKEN = 1e-6  # of a form's variance: where the known units take off less they say nothing of it
EVEN = 0.5  # odds of soundness below which a record is more likely wrong than right
HERMITE = np.polynomial.hermite_e.hermegauss(15)
SHARES = {"level": 0.35, "slope": 0.1, "noise": 0.05, "maker": 0.2, "bench": 0.2, "doubts": 0.1}
SLOPES = {"core": CORE, "V/R": V_OVER_R}


class Conflict(NamedTuple):
    """A contradiction.

    Attributes
    ----------
    kind, name : str
        level, slope, noise, maker, bench, or doubts (of a bench); which slope, maker or bench, blank of the others.
    found, expected : float
        A slope as it is; of level, maker and bench the ratio to what is expected, which is 1; of noise the standard
        deviations of ln multiplier; of doubts the share of the bench's records that are more likely wrong than right,
        and that of the others.
    tail : float
        Probability of so large a departure where nothing contradicts, what else was looked at allowed for.
    """

    kind: str
    name: str
    found: float
    expected: float
    tail: float

    def __str__(self) -> str:
        if self.kind == "level":
            return f"they rate {self.found:.2f} times as much as was to be expected"
        if self.kind == "slope":
            more = "faster" if self.found < self.expected else "less"
            return (
                f"their multiplier falls {more} with {self.name} than was to be expected (power {self.found:.2f}, not "
                f"{self.expected:.2f})"
            )
        if self.kind == "noise":
            return (
                f"they differ among themselves by about {self.found:.0%}, where {self.expected:.0%} was to be expected"
            )
        if self.kind == "doubts":
            return f"of the units read by {self.name} {self.found:.0%} look wrong, of the others {self.expected:.0%}"
        whose = f"the units read by {self.name}" if self.kind == "bench" else f"those made by {self.name}"
        return f"{whose} rate {self.found:.2f} times as much as the others"


def conflicts(model: Fitted) -> list[Conflict]:
    """The contradictions in the known units of a fit, those of the prior first."""
    if not model.records:
        return []
    found = [*_of_the_prior(model), *_of_makers(model), *_of_benches(model), *_of_doubts(model)]
    many = Counter(one.kind for one in found)
    told = (one._replace(tail=min(1.0, one.tail * many[one.kind] / SHARES[one.kind])) for one in found)
    return [one for one in told if one.tail < BEYOND]


def frame_of(model: Fitted) -> pd.DataFrame:
    """See :meth:`Multiplier.conflicts`."""
    found = conflicts(model)
    columns = {name: [getattr(one, name) for one in found] for name in Conflict._fields}
    return frame({**columns, "said": [str(one) for one in found]})


def _of_the_prior(model: Fitted) -> Iterator[Conflict]:
    """Level, slopes and noise of the user's own units."""
    own = model.rows.take(model.rows.own)
    forms = {("level", ""): _level(model.design, model.matrix(own))}
    for name, reading in SLOPES.items():
        forms["slope", name] = np.eye(model.design.width)[MAIN.index(READINGS[reading])]
    before, after = _before(model), model.posteriors[0]
    for (kind, name), form in forms.items():
        taken = form @ (before[1] - after.covariance) @ form
        if taken > LEAST_TAKEN * (form @ before[1] @ form):
            was, now = form @ before[0], form @ after.mean
            ratio = (float(np.exp(now - was)), 1.0) if kind == "level" else (float(now), float(was))
            yield Conflict(kind, name, *ratio, _two_sided((now - was) / np.sqrt(taken)))
    noise = model.prior.main
    ln = np.log([point.scales.noise for point in model.quadrature])
    middle = float(model.shares @ ln)
    taken = noise.ln_scatter_sd**2 - float(model.shares @ (ln - middle) ** 2)
    if taken > LEAST_TAKEN:
        tail = _two_sided((middle - noise.ln_scatter) / np.sqrt(taken))
        yield Conflict("noise", "", float(np.exp(middle)), noise.scatter, tail)


def _level(design: Design, x: np.ndarray) -> np.ndarray:
    """The middle of units, what is their makers', benches' and classes' aside."""
    form = x.mean(axis=0)
    for block in ("class", "maker", "contributor"):
        form[design.block(block)] = 0.0
    return form


def _before(model: Fitted) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of the coefficients by the prior and the published windings, at the mode of the scales."""
    rows, scales = model.rows.take(~model.rows.own), model.quadrature[0].scales
    if not len(rows):
        mean, precision = model.design.prior(model.prior, scales)
        return mean, np.linalg.inv(precision)
    made = EMSolver(rows, model.design, model.imputation, model.unmeasured, model.prior).solve(scales)
    return made.mean, made.covariance


def _of_makers(model: Fitted) -> Iterator[Conflict]:
    """Each maker's deviation, of those with units of the user's own."""
    before, after = _before(model), model.posteriors[0]
    own = {*model.rows.frame["maker"][model.rows.own]}
    for at, name in enumerate(model.design.makers, model.design.starts["maker"]):
        taken = before[1][at, at] - after.covariance[at, at]
        if name in own and len(model.design.makers) > 1 and taken > LEAST_TAKEN:
            now = after.mean[at] - before[0][at]
            alone = now * before[1][at, at] / taken  # not drawn to the others
            yield Conflict("maker", name, float(np.exp(alone)), 1.0, _two_sided(now / np.sqrt(taken)))


def _of_benches(model: Fitted) -> Iterator[Conflict]:
    """Each bench's deviation as it is by itself, under all that benches may differ by."""
    after, sd = model.posteriors[0], model.quadrature[0].scales.contributor
    own = {*model.rows.frame["contributor"][model.rows.own]}
    spread = CONTRIBUTOR_SD * np.exp(CONTRIBUTOR_SPREAD * HERMITE[0])
    for at, name in enumerate(model.design.contributors, model.design.starts["contributor"]):
        told = 1 - after.covariance[at, at] / sd**2  # the rest was drawn to nothing
        if name in own and len(own) > 1 and told > LEAST_TAKEN:
            alone, variance = after.mean[at] / told, after.covariance[at, at] / told
            tails = 2 * ndtr(-abs(alone) / np.sqrt(spread**2 + variance))
            tail = float(HERMITE[1] @ tails / HERMITE[1].sum())
            yield Conflict("bench", name, float(np.exp(alone)), 1.0, tail)


def _of_doubts(model: Fitted) -> Iterator[Conflict]:
    """How many of each bench's records look wrong, by what the others and the prior say of that share."""
    own = model.rows.take(model.rows.own).frame["contributor"].to_numpy()
    wrong = model.responsibilities[model.rows.own, 0] < EVEN
    for name in [one for one in model.design.contributors if 0 < np.sum(own == one) < len(own)]:
        here = own == name
        count, of, rest = int(wrong[here].sum()), int(here.sum()), int(wrong[~here].sum())
        likely = SHARE_PRIOR[0] + rest, SHARE_PRIOR[1] + len(own) - of - rest
        tail = float(betabinom.sf(count - 1, of, *likely))
        yield Conflict("doubts", name, count / of, rest / (len(own) - of), tail)


def _two_sided(z: float) -> float:
    return float(2 * ndtr(-abs(z)))


HASH_DIGITS = 16
SIMULATED = "Simulated practice data: no line of this is about a real transformer."
NOT_SETTLED = "NOT SETTLED: the fit did not come to rest, so these figures may still move; its notes say what did not."
CONFLICT = "CONFLICT: these known units contradict what was to be expected, as fewer than 1 register in 100 would:"
MOST_DOUBTFUL = 12  # doubtful records that the report names
GIVEN = "Regression of ln(k m), given the scales at the mode; z tests and limits are statsmodels'"
CAUTION = "An estimate with its spread, not a rating: local codes and licensed practice take precedence."


def summary(model: Fitted) -> str:
    """A report of a fit: what made it, the multiplier by size class, and what is doubtful."""
    lines = [SIMULATED, ""] if model.simulated else []
    lines += [_made_of(model)]
    lines += [] if model.converged else [NOT_SETTLED]
    lines += [
        "",
        f"Multiplier, mA per V/ohm, at {usual_frequency(model):g} Hz, with {model.level:.0%} limits of its mean",
    ]
    for (rectifier, filter), part in classes(model, model.level).groupby(["rectifier", "filter"], sort=False):
        lines += ["", f"{rectifier}, {filter} input", "  class  core area cm2  known   multiplier   low    high"]
        for row in part.to_dict("records"):
            low, high = row["low_area_cm2"], row["high_area_cm2"]
            area = f"{low:g} to {high:g}" if high < float("inf") else f"{low:g} and up"
            lines.append(
                f"  {row['size_class']:>5}  {area:>13}  {row['count']:>5}  {row['multiplier']:>10.1f}  "
                f"{row['low']:>5.1f}  {row['high']:>5.1f}"
            )
    lines += ["", f"Between units of one size, supply and bench: about {model.scatter:.0%} (standard deviation)."]
    if against := conflicts(model):
        lines += ["", CONFLICT] + [f"  {one}" for one in against]
    doubtful = suspects(model)
    if len(doubtful):
        lines += ["", "Doubtful records, kept but counted for less:"]
        lines += [
            f"  {row['contributor']}, {row['unit']}: odds that it is sound: {odds(row['odds_sound'])}; "
            f"{row['likely_slip']}"
            for row in doubtful.head(MOST_DOUBTFUL).to_dict("records")
        ]
        more = len(doubtful) - MOST_DOUBTFUL
        lines += [f"  and {more} more"] if more > 0 else []
    return "\n".join([*lines, *model.notes, "", CAUTION])


def _made_of(model: Fitted) -> str:
    beside = f" and {model.published} published windings" if model.published else ""
    if not model.records:
        prior = "the prior of first principles and published sources"
        alone = f"the published windings ({model.published})" if model.published else prior
        return f"No known units: {alone} alone (fit {model.content_hash})"
    return f"{model.records} known units from {model.benches} contributor(s){beside} (fit {model.content_hash})"


def as_html(model: Fitted) -> str:
    """The table of classes with what made it, for a notebook."""
    lines = [SIMULATED] if model.simulated else []
    lines += [f"{CONFLICT} {'; '.join(map(str, against))}."] if (against := conflicts(model)) else []
    lines += [f"{_made_of(model)}. Multiplier, mA per V/ohm, at {usual_frequency(model):g} Hz. {CAUTION}"]
    table = classes(model, model.level).to_html(index=False, border=0, float_format="{:.3g}".format)
    return "".join(f"<p>{escape(line)}</p>" for line in lines) + table


def settings() -> dict[str, object]:
    """Every judgement that the fit is set by beside its prior, by name; see the modules for what each means."""
    return {
        "drift between recorded and asked, sd": DRIFT_SD,
        "the same with the wire measured": DRIFT_WITH_WIRE_SD,
        "evidence: bias, its sd, scatter": {name: [one.bias, one.bias_sd, one.sd] for name, one in GRADES.items()},
        "evidence, spread of ln scatter": GRADE_SPREAD,
        "size class, sd and its spread": [CLASS_SD, CLASS_SPREAD],
        "contributor, sd and its spread": [CONTRIBUTOR_SD, CONTRIBUTOR_SPREAD],
        "maker and era, sd": [MAKER_SD, ERA_SD],
        "noise, share of real sources and spread of its ln": [OF_SOURCES, SCATTER_SPREAD],
        "unsound records, Beta prior": list(SHARE_PRIOR),
        "slips, shares": dict(zip(ERROR_NAMES, np.round(np.exp(LOG_SHARES), 6).tolist(), strict=True)),
        "unsound in the side regressions, share and sd": [UNSOUND, UNSOUND_SD],
        "primary read poorly, sd beyond and from what %": [COARSE.tolist(), COARSE_FROM_PCT.tolist()],
        "ln volts about the usual ones, sd of mean, sd, spread of ln sd": [VOLTS_OFF, VOLTS_SPREAD, VOLTS_LN_SPREAD],
    }


def origin(rows: Features) -> dict[str, str]:
    """Hash of the records, of the prior and of the settings, each by itself."""
    records = hashlib.sha256(rows.frame.to_csv(index=False, float_format="%.15g").encode())
    for part in (rows.readings, rows.frequency, rows.reading_variance, rows.form, rows.response):
        records.update(np.ascontiguousarray(part).tobytes())
    records.update(rows.coarse.tobytes() if rows.coarse.any() else b"")
    judgements = json.dumps(settings(), sort_keys=True).encode()
    return {
        "records": records.hexdigest()[:HASH_DIGITS],
        "prior": hashlib.sha256(FILE.read_bytes() + SOURCES.read_bytes()).hexdigest()[:HASH_DIGITS],
        "settings": hashlib.sha256(judgements).hexdigest()[:HASH_DIGITS],
    }


def content_hash(rows: Features) -> str:
    """The name of a fit."""
    return hashlib.sha256(json.dumps(origin(rows), sort_keys=True).encode()).hexdigest()[:HASH_DIGITS]


def provenance(model: Fitted) -> pd.DataFrame:
    """See :meth:`Multiplier.provenance`."""
    counts = {"fit": model.content_hash, "known units": model.records, "contributors": model.benches}
    counts |= {"published windings": model.published}
    parts = {**counts, **origin(model.rows), **settings()}
    return frame({"part": list(parts), "value": [str(value) for value in parts.values()]})


@dataclass(frozen=True)
class Regression:
    """The conditional regression, given the scales at their mode, as statsmodels has it.

    Attributes
    ----------
    results : statsmodels.regression.linear_model.RegressionResults
        Of ordinary least squares on whitened rows: the records, then the prior as pseudo-rows. Each record is scaled by
        the root of its precision at the mode; the prior's precision P = L L' adds the rows L' with responses L' m. The
        coefficients are then the posterior mean at the mode, and `bse` with a scale of 1 its standard deviations.
    records : pandas.DataFrame
        contributor and unit of the records, in the order of the first rows.
    """

    results: RegressionResults = field(repr=False)
    records: pd.DataFrame = field(repr=False)

    @property
    def params(self) -> np.ndarray:
        """The coefficients, in the order of the fit's terms [ln multiplier]."""
        return np.asarray(self.results.params)

    @property
    def bse(self) -> np.ndarray:
        """Their standard deviations [ln multiplier]."""
        return np.asarray(self.results.bse)

    def __getattr__(self, name: str) -> object:
        """Whatever else statsmodels' results have."""
        if name.startswith("__") or name == "results":
            raise AttributeError(name)
        return getattr(self.results, name)

    def get_influence(self) -> OLSInfluence:
        """statsmodels' influence measures, of the records' rows and then of the prior's."""
        return self.results.get_influence()

    def summary(self) -> str:
        """statsmodels' table of the coefficients [ln multiplier], headed by what it is given."""
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of tests of its residuals, which few records do not bear
            table = self.results.summary().tables[1]
        return f"{GIVEN}\n{table.as_text()}"

    def influence(self) -> pd.DataFrame:
        """How each record bears on the coefficients, given the scales at the mode, the most influential first.

        Returns
        -------
        pandas.DataFrame
            contributor, unit; leverage (0 to 1), cooks_distance and studentised_residual (Cook and Weisberg, Residuals
            and Influence in Regression). A record that is taken as wrong bears on nothing and has about 0 in all.
        """
        count = len(self.records)
        with np.errstate(all="ignore"):
            found = self.get_influence()
            table = self.records.assign(
                leverage=found.hat_matrix_diag[:count],
                cooks_distance=found.cooks_distance[0][:count],
                studentised_residual=found.resid_studentized_internal[:count],
            )
        return table.sort_values("cooks_distance", ascending=False, kind="stable", ignore_index=True)

    def __str__(self) -> str:
        lines = [self.summary(), "", "Influence of the records, the most influential first"]
        for row in self.influence().head(MOST_DOUBTFUL).to_dict("records"):
            lines.append(
                f"  {row['contributor']}, {row['unit']}: leverage {row['leverage']:.3f}, Cook's distance "
                f"{row['cooks_distance']:.3f}, studentised residual {row['studentised_residual']:+.2f}"
            )
        return "\n".join(lines)


def regression(model: Fitted) -> Regression:
    """The regression of a fit at the mode of its scales."""
    from statsmodels.regression.linear_model import OLS

    mode, scales = model.posteriors[0], model.quadrature[0].scales
    mean, precision = model.design.prior(model.prior, scales)
    root = np.sqrt(mode.weight)
    factor = np.linalg.cholesky(precision).T
    x = np.vstack([model.matrix(model.rows) * root[:, None], factor])
    y = np.concatenate([model.rows.response * root, factor @ mean])
    results = OLS(y, x, hasconst=False)
    results.data.xnames = list(model.design.names)
    fitted = results.fit(cov_type="fixed scale", cov_kwds={"scale": 1.0})
    return Regression(fitted, model.rows.frame[["contributor", "unit"]].reset_index(drop=True))
