"""What looks unlikely in a record that is within every limit: flagged for a second look, never refused."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from calib.bench.copper import INFERRED_ZERO_C, resistance_at
from calib.bench.core import core_area_cm2, scrapless_window_mm
from calib.bench.ratio import no_load_voltage
from calib.bench.wire import awg_diameter_mm
from calib.register.records import KnownUnit, Unit, UnknownUnit, fields

# The usual range of each single field stands with the field. What follows is of several together: judgement of the
# bench, to catch slips of a digit or a unit, or half a winding taken for the whole.
FACTS = {facts.name: facts for facts in (*fields(UnknownUnit), *fields(KnownUnit))}
STACK_OVER_TONGUE = (0.5, 2.5)
MULTIPLIER = (4.0, 250.0)
# The ratio test leaves out the drop of the exciting current, some tenths of a per cent; 3 % is no drop any more.
VOLTAGES_APART = 0.03
AREAS_APART = 0.1
WINDOWS_APART = 0.1
DIAMETERS_APART = 0.1


class Unlikely(NamedTuple):
    """Something worth a second look: the column to look at first, and why."""

    column: str
    why: str


def improbabilities(record: Unit) -> list[Unlikely]:
    """Say what is worth a second look in a record.

    Parameters
    ----------
    record : KnownUnit or UnknownUnit
        Within the limits, as every record is.

    Returns
    -------
    list of Unlikely
        The columns in the order of the tables, then what hangs together; empty where nothing is unlikely. No clock, no
        other record is consulted.
    """
    return [*_single(record), *_voltages(record), *_core(record), *_wire(record), *_multiplier(record)]


def _single(record: Unit) -> Iterator[Unlikely]:
    for facts in fields(type(record)):
        value = getattr(record, facts.name)
        if facts.kind == "number" and value is not None and (why := facts.unlikely(float(value))):
            yield Unlikely(facts.name, why)


def _scaled(record: Unit) -> float | None:
    """No-load voltage by the ratio test [V]."""
    if record.excitation_v is None or record.hv_v is None:
        return None
    return float(no_load_voltage(record.excitation_v, record.hv_v, record.line_voltage_v))


def _voltages(record: Unit) -> Iterator[Unlikely]:
    scaled, stated = _scaled(record), record.no_load_v
    if scaled is not None and stated is not None and abs(scaled / stated - 1) > VOLTAGES_APART:
        apart = f"{100 * abs(scaled / stated - 1):.1f} %"
        why = f"{stated:g} V, and the ratio test, {scaled:.4g} V, are {apart} apart; the ratio test counts"
        yield Unlikely("no_load_v", why)
    if (record.excitation_v is None) != (record.hv_v is None):
        missing = "excitation_v" if record.excitation_v is None else "hv_v"
        yield Unlikely(missing, "it is empty, so the ratio test is not used")
    if scaled is not None and (why := FACTS["no_load_v"].unlikely(float(f"{scaled:.4g}"))):
        yield Unlikely("hv_v", f"the no-load voltage that the ratio test gives, {why}")


def _core(record: Unit) -> Iterator[Unlikely]:
    tongue, stack, area = record.tongue_mm, record.stack_mm, record.core_area_cm2
    if tongue is None or stack is None:
        return
    measured = float(core_area_cm2(tongue, stack))
    if area is not None and abs(measured / area - 1) > AREAS_APART:
        why = f"{area:g} cm², and tongue times stack, {measured:.4g} cm², differ; the latter counts"
        yield Unlikely("core_area_cm2", why)
    yield from _window(record, tongue)
    if not STACK_OVER_TONGUE[0] <= stack / tongue <= STACK_OVER_TONGUE[1]:
        yield Unlikely("stack_mm", f"{stack:g} mm is unusual with a tongue of {tongue:g} mm")


def _window(record: Unit, tongue: float) -> Iterator[Unlikely]:
    wide, high = record.window_width_mm, record.window_height_mm
    if wide is None or high is None:
        return
    if wide > high:
        why = f"{wide:g} by {high:g} mm: the height is along the limb and the longer side; they look swapped"
        yield Unlikely("window_width_mm", why)
        return
    usual = scrapless_window_mm(tongue)
    apart = any(abs(one / other - 1) > WINDOWS_APART for one, other in zip((wide, high), usual, strict=True))
    if record.lamination in (None, "ei-scrapless") and apart:
        why = (
            f"a window of {wide:g} by {high:g} mm is none of a scrapless EI with a tongue of {tongue:g} mm, which has "
            f"{usual[0]:g} by {usual[1]:g} mm; say what the sheets are; the measured window counts"
        )
        yield Unlikely("lamination", why)


def _wire(record: Unit) -> Iterator[Unlikely]:
    if record.awg is None or record.wire_diameter_mm is None:
        return
    bare = float(awg_diameter_mm(record.awg))
    if abs(bare / record.wire_diameter_mm - 1) > DIAMETERS_APART:
        why = f"{record.wire_diameter_mm:g} mm, and awg {record.awg:g}, {bare:.3f} mm bare, differ; the diameter counts"
        yield Unlikely("wire_diameter_mm", why)


def _multiplier(record: Unit) -> Iterator[Unlikely]:
    """Rated current over V/R at 20 °C [mA per V/ohm] far from any transformer's: a slip of a digit or of a unit."""
    scaled = _scaled(record)
    volts = scaled if scaled is not None else record.no_load_v
    if not isinstance(record, KnownUnit) or volts is None:
        return
    zero = INFERRED_ZERO_C[record.conductor or "copper"]
    ohm = float(resistance_at(record.hv_resistance_ohm, record.winding_temp_c, inferred_zero_c=zero))
    multiplier = record.rated_current_ma * ohm / volts
    if not MULTIPLIER[0] <= multiplier <= MULTIPLIER[1]:
        yield Unlikely(
            "rated_current_ma",
            f"{record.rated_current_ma:g} mA is {multiplier:.3g} times V/R: look for ohms read as kilohms, a slipped "
            "digit, or half a winding",
        )
