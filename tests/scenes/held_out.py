"""Populations drawn up after the fit's settings were settled and looked at once, so that they are no echo of those."""

from __future__ import annotations

from tests.scenes.population import Scene

HELD_OUT = {
    "50 Hz ring cores in aluminium": Scene(fifty=1.0, toroid=True, aluminium=True),
    "makers who differ much": Scene(density_sd=0.18, flux_sd=0.10, fill_sd=0.28),
    "cool and low in flux": Scene(density=2.3, flux=1.0, density_slope=-0.22),
    "hard driven, heavy tails": Scene(density=4.2, flux=1.4, fifty_flux=1.05, tails=6.0),
    "amplifiers of high voltage": Scene(volts=1100.0, known_area=(8.0, 60.0), asked_area=(8.0, 60.0)),
    "small sets, a low ohmmeter, some drift": Scene(
        known_area=(1.5, 12.0), asked_area=(1.5, 12.0), bad_ohmmeter=0.8, drift=0.06
    ),
}
