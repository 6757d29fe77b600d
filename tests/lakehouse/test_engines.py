"""The fit in passes over the same records on three engines: DuckDB's file, a lakehouse, and PostgreSQL's own tables."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import closing
from uuid import uuid4

import ibis
import numpy as np
import pandas as pd
import pytest

import calib
from calib.register import lakehouse
from calib.register.lakehouse import Lakehouse
from tests.counts import WHOLE, share
from tests.fitting.making import practice_unknown, scene_known
from tests.fitting.test_outofcore import mixed
from tests.lakehouse import catalogue

RECORDS = share(2_000, 10_000)
WITHIN = 1e-9


@pytest.fixture(scope="module")
def records() -> pd.DataFrame:
    """With every pattern of readings when all is tried; each is a query of its own, which takes long to write."""
    known = scene_known("ordinary", RECORDS, 0.05)
    return (mixed(known) if WHOLE else known).drop(columns=["slip", "true_ma"], errors="ignore")


@pytest.fixture(scope="module")
def by_file(records: pd.DataFrame, tmp_path_factory: pytest.TempPathFactory) -> calib.Multiplier:
    backend = ibis.duckdb.connect(tmp_path_factory.mktemp("engines") / "known.duckdb")
    return calib.fit_table(backend.create_table("known", ibis.memtable(records)))


@pytest.fixture
def lake(records: pd.DataFrame) -> Iterator[ibis.Table]:
    place = Lakehouse(catalogue.made(f"fitted_{uuid4().hex}"))
    with closing(lakehouse._engine()) as con:
        lakehouse._attach(con, place.catalogue)
        con.register("as_given", records).execute("CREATE TABLE known_units AS FROM as_given")
        yield ibis.duckdb.from_connection(con).table("known_units")


@pytest.fixture
def postgres(records: pd.DataFrame) -> Iterator[ibis.Table]:
    name = f"engine_{uuid4().hex}"
    catalogue.asked(f"CREATE DATABASE {name}")
    told = dict(part.split("=") for part in os.environ[catalogue.SERVER].split())
    backend = ibis.postgres.connect(**told, database=name)
    yield backend.create_table("known_units", records)
    backend.disconnect()


@pytest.mark.parametrize("engine", ["lake", "postgres"])
def test_the_same_records_give_the_same_fit_on_each_engine(
    engine: str, by_file: calib.Multiplier, request: pytest.FixtureRequest
) -> None:
    other = calib.fit_table(request.getfixturevalue(engine))
    assert other.nobs == by_file.nobs == RECORDS
    for ours, theirs in ((by_file.params, other.params), (by_file.bse, other.bse)):
        np.testing.assert_allclose(theirs, ours, rtol=WITHIN, atol=WITHIN)
    ours, theirs = (fit.estimate(practice_unknown()).select_dtypes("number") for fit in (by_file, other))
    np.testing.assert_allclose(theirs, ours, rtol=WITHIN)
