"""The name of a fit: a hash of the records, the prior and the settings that made it."""

from __future__ import annotations

import hashlib
import json

import numpy as np

from calib.fitting import chains, doubts, effects, mixture, scales
from calib.fitting.prior import FILE
from calib.fitting.rows import Facts

DIGITS = 16


def settings() -> dict[str, object]:
    """Every judgement that the fit is set by beside its prior, by name; see the modules for what each means."""
    return {
        "drift between recorded and asked, sd": effects.DRIFT_SD,
        "the same with the wire measured": effects.DRIFT_WITH_WIRE_SD,
        "evidence: bias, its sd, scatter": {
            name: [one.bias, one.bias_sd, one.sd] for name, one in effects.GRADES.items()
        },
        "evidence, spread of ln scatter": scales.GRADE_SPREAD,
        "size class, sd and its spread": [scales.CLASS_SD, scales.CLASS_SPREAD],
        "contributor, sd and its spread": [scales.CONTRIBUTOR_SD, scales.CONTRIBUTOR_SPREAD],
        "unsound records, Beta prior": list(mixture.SHARE_PRIOR),
        "slips, shares": dict(zip(doubts.NAMES, np.round(np.exp(doubts.LOG_SHARES), 6).tolist(), strict=True)),
        "unsound in the side regressions, share and sd": [chains.UNSOUND, chains.UNSOUND_SD],
    }


def origin(rows: Facts) -> dict[str, str]:
    """Hash of the records, of the prior and of the settings, each by itself."""
    records = hashlib.sha256(rows.frame.to_csv(index=False, float_format="%.15g").encode())
    for part in (rows.covariates, rows.wire, rows.reading_variance, rows.form, rows.response):
        records.update(np.ascontiguousarray(part).tobytes())
    told = json.dumps(settings(), sort_keys=True).encode()
    return {
        "records": records.hexdigest()[:DIGITS],
        "prior": hashlib.sha256(FILE.read_bytes()).hexdigest()[:DIGITS],
        "settings": hashlib.sha256(told).hexdigest()[:DIGITS],
    }


def content_hash(rows: Facts) -> str:
    """The name of a fit."""
    return hashlib.sha256(json.dumps(origin(rows), sort_keys=True).encode()).hexdigest()[:DIGITS]
