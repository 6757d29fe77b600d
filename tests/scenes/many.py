"""Millions of known units, made by the database itself: the contract's columns from laws that the fit does not know.

Simulated. A law for the multiplier by core and frequency, the makers' habits, the benches' gains, the scatter of each
kind of evidence, and a share of gross errors in resistance, voltage and current.
"""

from __future__ import annotations

from pathlib import Path

import duckdb

# What goes wrong with an unsound record, and how often: what is multiplied, and by what.
SPOILED = (
    ("ohm", "0.5", 0.3),
    ("ohm", "if(coin < 0.5, 10, 0.1)", 0.2),
    ("volts", "0.5", 0.2),
    ("ma", "if(coin < 0.5, 10, 0.1)", 0.15),
    ("ma", "exp(3.6 * (coin - 0.5))", 0.15),
)

DRAWN = """
SELECT i, floor(random() * {contributors})::INT AS bench, random() AS kind, random() AS grade, random() AS coin,
    if(random() < {spoiled}, random(), 2.0) AS slip,
    exp(least(greatest(2.35 + 0.62 * normal(), 0.6), 4.0)) AS area, exp(0.12 + 0.2 * normal()) AS shape,
    if(random() < 0.4, 50.0, 60.0)::DOUBLE AS hz, exp(0.2 * normal()) AS habit, exp(0.25 * normal()) AS usual,
    exp(0.25 * normal()) AS fill, random() < 0.85 AS has_core, random() < 0.4 AS has_wire, random() < 0.7 AS by_ratio,
    20 + 3 * normal() AS temp, exp(0.05 * normal()) AS wound, normal() AS doubt, exp(0.009 * normal()) AS reading
FROM range({count}) AS numbers(i)
"""

UNITS = """
SELECT *, 620 * usual * (area / 10) ^ 0.12 * [1.0, 1.0, 0.5, 0.42][supply] AS volts,
    2.2 * (area / 10) ^ 1.1 / (usual ^ 0.9) * fill AS v_over_r, sqrt(area / shape) * 10 AS tongue,
    if(hz = 50, 230.0, 117.0)::DOUBLE AS line, [0.08, 0.06, 0.18, 0.25, 0.08][evidence] * doubt AS error
FROM (
    SELECT *, if(kind < 0.6, 1, if(kind < 0.75, 2, if(kind < 0.9, 3, 4))) AS supply,
        if(grade < 0.35, 1, if(grade < 0.55, 2, if(grade < 0.75, 3, if(grade < 0.85, 4, 5)))) AS evidence
    FROM ({drawn})
)
"""

TRUE = """
SELECT *, volts / v_over_r AS ohm,
    95 * v_over_r * (area / 10) ^ -0.7 * (hz / 60) ^ -0.9 * habit / [1.24, 0.74, 1.85, 2.35][supply]
        * exp(error + if(evidence = 3, -0.15, 0) + 0.04 * sin(1.7 * bench * bench)) AS ma
FROM ({units})
"""

RECORDS = """
SELECT 'u' || i AS unit, 'Bench ' || lpad(bench::VARCHAR, 3, '0') AS contributor,
    ['nameplate', 'maker-data', 'set-data', 'wire-measured', 'heat-run'][evidence] AS evidence,
    ['full-wave', 'full-wave', 'bridge', 'half-wave'][supply] AS rectifier,
    ['capacitor', 'choke', 'capacitor', 'capacitor'][supply] AS filter,
    ma * {ma} AS rated_current_ma, line AS line_voltage_v, hz AS line_frequency_hz, supply <= 2 AS centre_tapped,
    if(by_ratio, 10.0, NULL)::DOUBLE AS excitation_v, if(by_ratio, volts * 10 / line * reading * {volts}, NULL) AS hv_v,
    if(by_ratio, NULL, volts * reading * {volts}) AS no_load_v,
    ohm * (234.5 + temp) / 254.5 * {ohm} AS hv_resistance_ohm, temp AS winding_temp_c,
    if(has_core, tongue, NULL) AS tongue_mm, if(has_core, tongue * shape, NULL) AS stack_mm,
    NULL::DOUBLE AS core_area_cm2, 'copper' AS conductor,
    if(has_wire AND hz = 60, round(30 - 4 * ln(v_over_r * wound)), NULL) AS awg,
    if(has_wire AND hz = 50, 0.25 * sqrt(v_over_r) * wound, NULL) AS wire_diameter_mm,
    if(bench % 3 = 0, 0.4, NULL)::DOUBLE AS u_voltage_pct, if(bench % 3 = 0, 0.5, NULL)::DOUBLE AS u_resistance_pct,
    NULL::DOUBLE AS primary_resistance_ohm, NULL::DOUBLE AS weight_kg, '2026-01-01' AS recorded_on, '' AS notes,
    true AS simulated
FROM ({true})
"""


def make(path: Path, count: int, contributors: int = 200, spoiled: float = 0.05) -> None:
    """Write a table `known` of so many records into a new database file; the same one whenever it is asked for."""
    factors = dict.fromkeys(("ma", "volts", "ohm"), "1")
    begun = 0.0
    for what, factor, share in SPOILED:
        factors[what] = f"if(slip >= {begun:g} AND slip < {begun + share:g}, {factor}, {factors[what]})"
        begun += share
    drawn = DRAWN.format(contributors=contributors, spoiled=spoiled, count=count)
    records = RECORDS.format(true=TRUE.format(units=UNITS.format(drawn=drawn)), **factors)
    with duckdb.connect(path) as database:
        database.execute("SET threads = 1")  # with more, chance would fall to the rows in no order of its own
        database.execute("SET memory_limit = '1GB'")
        database.execute("CREATE TEMP MACRO normal() AS sqrt(-2 * ln(1 - random())) * cos(2 * pi() * random())")
        database.execute("SELECT setseed(0.417)")
        database.execute(f"CREATE TABLE known AS {records}")
