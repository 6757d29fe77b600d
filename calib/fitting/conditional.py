"""The regression at the mode of the scales in statsmodels, for its summary, intervals and influence measures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from calib.fitting.multiplier import Multiplier


def regression(model: Multiplier) -> Any:
    """Ordinary least squares on whitened rows: the records, then the prior as pseudo-rows.

    Each record is scaled by the root of its precision at the mode; the prior's precision P = L L' adds the rows L'
    with responses L' m. The coefficients are then the posterior mean at the mode, and ``bse`` with a scale of 1 its
    standard deviations.
    """
    from statsmodels.regression.linear_model import OLS

    mode, scales = model.solutions[0], model.nodes[0].scales
    mean, precision = model.layout.prior(model.prior, scales)
    root = np.sqrt(mode.weight)
    completed, _, _ = model.sides.complete(model.rows)
    factor = np.linalg.cholesky(precision).T
    x = np.vstack([model.layout.design(model.rows, completed) * root[:, None], factor])
    y = np.concatenate([model.rows.response * root, factor @ mean])
    results = OLS(y, x, hasconst=False)
    results.data.xnames = list(model.layout.names)
    return results.fit(cov_type="fixed scale", cov_kwds={"scale": 1.0})
