"""What is said of a fit as a whole: its report in words, what made it, and its regression as statsmodels has it."""

from __future__ import annotations

import hashlib
import json
import warnings
from dataclasses import dataclass, field
from html import escape
from typing import TYPE_CHECKING

import numpy as np

from calib.fitting.conflicts import conflicts
from calib.fitting.features import COARSE, COARSE_FROM_PCT, Features
from calib.fitting.gross_errors import ERROR_NAMES, LOG_SHARES
from calib.fitting.imputation import UNSOUND, UNSOUND_SD, VOLTS_LN_SPREAD, VOLTS_OFF, VOLTS_SPREAD
from calib.fitting.mixture import SHARE_PRIOR
from calib.fitting.model import DRIFT_SD, DRIFT_WITH_WIRE_SD, ERA_SD, GRADES
from calib.fitting.predictive import Fitted
from calib.fitting.prior import FILE, MAKER_SD, OF_SOURCES, SCATTER_SPREAD, SOURCES
from calib.fitting.tables import classes, frame, suspects, usual_frequency
from calib.fitting.variance_components import (
    CLASS_SD,
    CLASS_SPREAD,
    CONTRIBUTOR_SD,
    CONTRIBUTOR_SPREAD,
    GRADE_SPREAD,
)
from calib.units import odds

if TYPE_CHECKING:
    import pandas as pd
    from statsmodels.regression.linear_model import RegressionResults
    from statsmodels.stats.outliers_influence import OLSInfluence

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
