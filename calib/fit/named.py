"""The name of a fit: a hash of the records and of the prior that made it."""

from __future__ import annotations

import hashlib

import numpy as np

from calib.fit.prior import FILE
from calib.fit.rows import Facts


def content_hash(rows: Facts) -> str:
    """Hash of rows and of the prior."""
    digest = hashlib.sha256(FILE.read_bytes())
    digest.update(rows.frame.to_csv(index=False, float_format="%.15g").encode())
    for part in (rows.covariates, rows.wire, rows.reading_variance, rows.form, rows.response):
        digest.update(np.ascontiguousarray(part).tobytes())
    return digest.hexdigest()[:16]
