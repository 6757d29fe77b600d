"""The fit of a large register in passes, held to the fit in memory and to the same features and odds."""

from __future__ import annotations

from functools import cache, partial

import ibis
import numpy as np
import pandas as pd
import pytest

from calib.errors import CannotError, InputError
from calib.fitting import features_of, fit
from calib.fitting.features import CORE, ERAS, LN_FORM, READINGS, places
from calib.fitting.imputation import impute
from calib.fitting.mixture import judged
from calib.fitting.model import GRADE_NAMES, Design, Unmeasured, VarianceComponents
from calib.fitting.outofcore import fit as large
from calib.fitting.outofcore.features import cell_of, features_expression, prepared
from calib.fitting.outofcore.passes import Cells, Equations, summed, weighed
from calib.fitting.prior import MAIN, load_prior
from calib.fitting.result import fit_table
from calib.fitting.variance_components import EMSolver
from tests.counts import WHOLE, share
from tests.fitting.making import FIGURES, known, practice_known, scene_asked, scene_known, without_core, without_gauge

SCALES = VarianceComponents(noise=0.19, size_class=0.03, contributor=0.04)
SHARE = 0.06
RECORDS, SAMPLE = share(4_000, 50_000), share(3_200, 40_000)


CORE_COLUMNS, GAUGE_COLUMNS = ["tongue_mm", "stack_mm", "core_area_cm2"], ["awg", "wire_diameter_mm"]
# Patterns of core, wire, primary and weight: none, each by itself, some together, all; or every one.
KINDS = tuple(range(16)) if WHOLE else (0, 1, 2, 3, 4, 6, 8, 15)


def mixed(records: pd.DataFrame, patterns: tuple[int, ...] = KINDS) -> pd.DataFrame:
    """A scene's records, a third with V and R alone, a third with the core beside, the rest in other patterns."""
    at, known = np.arange(len(records)), features_of(records).frame
    kind = np.where(at % 3 == 0, 0, np.where(at % 3 == 1, 1, np.array(patterns)[at // 3 % len(patterns)]))
    rng = np.random.default_rng(5)
    poorly = [np.nan, np.nan, 1.0, 6.0, 20.0, 50.0] if len(patterns) == len(KINDS) else [np.nan]
    reflected = known["resistance_ohm"] * (records["line_voltage_v"] / known["no_load_v"]) ** 2
    records = records.assign(
        maker=np.array(["", " East and Sons", "west"], dtype=object)[at % 3],
        made_year=np.where(at % 5 == 0, 1990.0, np.nan),
        kept=np.where(at % 4 == 0, "read again", ""),
        transformer=np.where(at % 50 < 3, np.char.add("T", (at // 50).astype(str)), "").astype(object),
        weight_kg=0.055 * known["core_area_cm2"] ** 1.5 * np.exp(rng.normal(0, 0.15, len(at))),
        primary_resistance_ohm=reflected / 1.7 * np.exp(rng.normal(0, 0.2, len(at))),
        u_primary_pct=np.random.default_rng(6).choice(poorly, len(at)),
    )
    for bit, names in enumerate((CORE_COLUMNS, GAUGE_COLUMNS, ["primary_resistance_ohm"], ["weight_kg"])):
        records.loc[(kind >> bit & 1) == 0, [name for name in names if name in records]] = np.nan
    return records


def table(records: pd.DataFrame) -> ibis.Table:
    """The records as a table of a database of their own."""
    backend = ibis.duckdb.connect(threads=2)
    return backend.create_table("known", ibis.memtable(records.drop(columns=["slip", "true_ma"], errors="ignore")))


@pytest.mark.parametrize("scene", ["practice", "ordinary", "toroidal", "aluminium"])
def test_features_of_a_table_are_those_of_a_frame(scene):
    records = practice_known() if scene == "practice" else mixed(scene_known(scene, 300, 0.1))
    found, rows = features_expression(table(records)).execute(), features_of(records)
    assert sorted(found["unit"]) == sorted(rows.frame["unit"])
    found = found.set_index("unit").loc[rows.frame["unit"]]  # a table's rows stand in no order
    assert np.array_equal(found["pair"], rows.pair)
    assert [GRADE_NAMES[grade] for grade in found["grade"]] == rows.frame["evidence"].tolist()
    assert [str(size or "") for size in found["size"]] == rows.frame["size_class"].tolist()
    ours = found[[*READINGS, "frequency", "reading_variance", "coarse", "counts"]].to_numpy(dtype=float)
    theirs = np.column_stack([rows.readings, rows.frequency, rows.reading_variance, rows.coarse, rows.counts])
    assert scene == "practice" or 0 < np.mean(rows.counts < 1) < 0.1
    np.testing.assert_allclose(ours, theirs, rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(found["yielded"] + LN_FORM[rows.pair], rows.response, rtol=1e-12, atol=1e-12)


def test_columns_that_are_not_there_are_blank():
    few = practice_known()[["unit", "contributor", "evidence", "rectifier", "filter", "rated_current_ma"]]
    found = features_expression(table(few)).execute()
    assert found["core"].isna().all()
    assert found["yielded"].isna().all()
    assert (found["size"] == 0).all()


@pytest.fixture(scope="module")
def one_pass():
    """One pass at given coefficients over mixed records, and the same by the mixture in memory."""
    prior, records = load_prior(), mixed(scene_known("one bad ohmmeter", 1200, 0.1))
    rows = features_of(records)
    # The last bench, and the last maker, are to be strangers.
    design = Design(tuple(sorted(set(records["contributor"]))[:-1]), ("east and sons",))
    imputation = impute(rows, prior)
    rng = np.random.default_rng(3)
    mean = np.concatenate([prior.main.mean, rng.normal(0, 0.05, design.width - len(MAIN))])
    unmeasured = Unmeasured.of(prior.main.mean, prior.main.covariance)
    code = pd.Index(design.contributors).get_indexer(pd.Index(records["contributor"]))
    code = np.where(code < 0, len(design.contributors), code)
    size = np.array([int(label or 0) for label in rows.frame["size_class"]])
    maker, era = (places(levels, rows.frame[name]) for name, levels in (("maker", design.makers), ("era", ERAS)))
    maker = np.where(maker < 0, len(design.makers), maker)
    kept = rows.frame["kept"].astype(int)
    cell = cell_of(code, maker, era, places(GRADE_NAMES, rows.frame["evidence"]), rows.pair, size, kept)
    kind = rows.pattern[:, CORE:] @ (1 << np.arange(6))
    seen = pd.DataFrame({"kind": kind, "cell": cell}).value_counts().sort_index()
    cells = Cells(*(seen.index.get_level_values(name).to_numpy() for name in ("cell", "kind")), seen.to_numpy(), design)
    source = table(records)
    with large._frugal(source.get_backend()):
        held = ibis.memtable(prepared(features_expression(source), design, imputation, prior).execute())
    offsets = ibis.memtable(cells.at(mean, SCALES, SHARE, unmeasured, imputation))
    solver = EMSolver(rows, design, imputation, unmeasured, prior)
    solution = judged(solver.evidence(SCALES), mean, np.zeros((len(mean),) * 2), SHARE)
    return held, offsets, cells, solver, solution, kind


@pytest.mark.parametrize("kind", [*KINDS, *(kind + 16 * poor for kind, poor in ((4, 1), (6, 2), (15, 3)))])
def test_odds_and_weights_are_those_of_the_mixture(one_pass, kind):
    held, offsets, _, solver, solution, kinds = one_pass
    with large._frugal(ibis.get_backend()):
        found = (
            weighed(held, offsets, kind, solver.imputation, solver.prior)
            .select("residual", "sound", "precision")
            .execute()
        )
    found = found.sort_values("residual").to_numpy()
    residual = solver.rows.response - solver.matrix @ solution.mean
    theirs = np.column_stack([residual, solution.responsibilities[:, 0], solution.weight])[kinds == kind]
    theirs = theirs[np.argsort(theirs[:, 0])]
    assert len(theirs)
    if kind < 2:
        assert 0.02 < np.mean(theirs[:, 1] < 0.5) < 0.5  # the passes are tried where there is something to doubt
    # Features are held in steps of 1e-6, which slips of ln 1000 over a variance of 0.05 make 1e-4 of the odds.
    np.testing.assert_allclose(found, theirs, rtol=1e-3, atol=1e-4)


def test_sums_are_the_normal_equations(one_pass):
    held, offsets, cells, solver, solution, kinds = one_pass
    with large._frugal(ibis.get_backend()):
        sums = {
            kind: summed(held, offsets, kind, solver.imputation, solver.prior).execute().sort_values("cell")
            for kind in np.unique(kinds)
        }
    found = Equations.of(sums, cells)
    x, weight = solver.matrix, solution.weight
    residual = solver.rows.response - x @ solution.mean
    # Each term is right to the steps of 1e-6, with weights about 20.
    np.testing.assert_allclose(found.precision, (x * weight[:, None]).T @ x, rtol=1e-4, atol=1e-2)
    np.testing.assert_allclose(found.pull, x.T @ (weight * residual), rtol=1e-4, atol=1e-2)
    slope, information = solver.step(SCALES, solution)
    assert found.sound == pytest.approx(solver.counts @ solution.responsibilities[:, 0], rel=1e-5)
    assert found.counts == pytest.approx(solver.counts.sum(), rel=1e-6)
    assert found.noise_slope.sum() == pytest.approx(slope[0], rel=1e-4)
    assert found.noise_information.sum() == pytest.approx(information[0, 0], rel=1e-4)


@cache
def large_known() -> pd.DataFrame:
    return mixed(scene_known("ordinary", RECORDS, 0.05), patterns=(3, 3, 3, 7))


@pytest.fixture(scope="module")
def by_passes():
    return fit_table(table(large_known()), sample_rows=SAMPLE)


def test_passes_agree_with_all_rows_in_memory(by_passes, monkeypatch):
    monkeypatch.setattr("calib.fitting.result.LARGE", len(large_known()))
    whole = fit(large_known())
    for asked in (scene_asked(), without_gauge(scene_asked()), without_core(scene_asked())):
        ours, theirs = (model.estimate(asked, as_read=True) for model in (by_passes, whole))
        np.testing.assert_allclose(ours[FIGURES], theirs[FIGURES], rtol=0.005 if WHOLE else 0.015)
        # What may be a slip is mixed by odds, which a sample of the side regressions moves more than a figure.
        apart = np.abs(np.log(by_passes.estimate(asked)[FIGURES] / whole.estimate(asked)[FIGURES]))
        assert np.mean(apart > 0.015) < 0.03
        assert apart.to_numpy().max() < 0.1
    assert by_passes.records == whole.records == RECORDS
    assert by_passes.classes()["count"].tolist() == whole.classes()["count"].tolist()
    assert len(by_passes.rows) == pytest.approx(SAMPLE, rel=0.05)


def test_a_large_frame_is_fitted_in_passes_whose_digits_depend_neither_on_cores_nor_on_order(by_passes, monkeypatch):
    monkeypatch.setattr("calib.fitting.result.LARGE", RECORDS - 1)
    monkeypatch.setattr(large, "SAMPLE_ROWS", SAMPLE)
    monkeypatch.setattr(ibis.duckdb, "connect", partial(ibis.duckdb.connect, threads=1))
    shuffled = large_known().sample(frac=1, random_state=5)
    other = fit(pd.concat([shuffled, shuffled.iloc[:3]], ignore_index=True))
    assert np.array_equal(other.posteriors[0].mean, by_passes.posteriors[0].mean)
    assert np.array_equal(other.posteriors[0].covariance, by_passes.posteriors[0].covariance)
    assert other.content_hash == by_passes.content_hash
    assert other.notes[0].startswith("3 repeated")
    assert str(RECORDS) in str(other)


def test_another_engine_gives_the_same_digits(monkeypatch):
    for most in ("MOST_PASSES", "MOST_ON_SAMPLE"):  # each takes long to write as SQL
        monkeypatch.setattr(large, most, share(1, getattr(large, most)))
    records = mixed(scene_known("ordinary", share(60, 240), 0.05), patterns=(7,))
    engine = ibis.sqlite.connect()
    there = fit_table(engine.create_table("known", ibis.memtable(records.drop(columns=["slip", "true_ma"]))))
    here = fit_table(table(records))
    np.testing.assert_allclose(there.posteriors[0].mean, here.posteriors[0].mean, rtol=0, atol=1e-12)


def test_memory_and_passes_refuse_the_same():
    """More contributors than one fit tells apart, and a record that has no place in the model."""
    records = pd.concat([known()] * 2001, ignore_index=True).assign(contributor=[f"B{k}" for k in range(2001)])
    for refused in (lambda: fit(records), lambda: fit_table(table(records))):
        with pytest.raises(CannotError, match="2001 contributors are more than the 2000 that one fit tells apart"):
            refused()


def test_spoiled_records_of_the_sample_are_named(by_passes):
    truth = large_known().set_index(["contributor", "unit"])["slip"]
    held = truth.loc[list(zip(by_passes.rows.frame["contributor"], by_passes.rows.frame["unit"], strict=True))]
    named = by_passes.suspects()
    of_named = truth.loc[list(zip(named["contributor"], named["unit"], strict=True))]
    assert np.mean(of_named != "") > 0.6
    assert np.sum(of_named != "") > 0.4 * np.sum(held != "")


def test_records_that_a_file_would_be_refused_for_are_named():
    records = known({}, {}, {}, {"rectifier": "bridge", "centre_tapped": "false"})
    records.loc[1, "evidence"] = "hearsay"
    records.loc[2, "hv_resistance_ohm"] = np.nan
    records.loc[3, ["rectifier", "filter"]] = ["none", "choke"]
    with pytest.raises(InputError) as refused:
        fit_table(table(records))
    assert [str(fault).split(": ")[0] for fault in refused.value.faults] == [
        "known units (table), A2 of Alder Lane, evidence 'hearsay'",
        "known units (table), A3 of Alder Lane, hv_resistance_ohm (empty)",
        "known units (table), A4 of Alder Lane, filter 'choke'",
    ]


def test_a_table_without_a_needed_column_is_refused():
    with pytest.raises(InputError, match="winding_temp_c .empty.: is needed, and there is no such column"):
        fit_table(table(practice_known().drop(columns="winding_temp_c")))


def test_a_record_outside_the_sample_that_cannot_be_placed_is_refused(by_passes):
    """Of many faulty records the first are named and the rest counted."""
    held = set(by_passes.rows.frame["unit"])
    records = large_known().copy()
    strangers = records.index[~records["unit"].isin(held)][7:40]
    records.loc[strangers, "rectifier"] = "unheard of"
    with pytest.raises(InputError, match="13 more records are to be looked at") as refused:
        fit_table(table(records))
    assert len(refused.value.faults) == large.MOST_NAMED + 1


def test_passes_that_are_cut_short_say_so_and_the_engine_is_left_as_it_was(monkeypatch):
    monkeypatch.setattr(large, "MOST_PASSES", 1)
    records = table(scene_known("ordinary", 400, 0.05))
    backend = records.get_backend()
    asked = "SELECT current_setting('threads'), current_setting('preserve_insertion_order')"
    before, tables = backend.raw_sql(asked).fetchall(), backend.raw_sql("SHOW ALL TABLES").fetchall()
    model = fit_table(records, sample_rows=60)
    assert model.converged is False
    assert "passes over the table: not settled in 1 of at most 1 rounds" in model.notes
    assert "NOT SETTLED" in str(model)
    assert backend.raw_sql(asked).fetchall() == before
    kept = [name for _, _, name, *_ in backend.raw_sql("SHOW ALL TABLES").fetchall() if "calib" in name]
    assert tables
    assert not kept
    assert ibis.options.sql.fuse_selects
