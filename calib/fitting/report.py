"""The fit in words, for a person at a bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calib.fitting.tables import usual_frequency

if TYPE_CHECKING:
    from calib.fitting.multiplier import Multiplier

SIMULATED = "Simulated practice data: no line of this is about a real transformer."
NOT_SETTLED = "NOT SETTLED: the fit did not come to rest, so these figures may still move; its notes say what did not."
MOST_DOUBTFUL = 12  # doubtful records that the report names
CAUTION = "An estimate with its spread, not a rating: local codes and licensed practice take precedence."


def summary(model: Multiplier) -> str:
    """A report of a fit: what made it, the multiplier by size class, and what is doubtful."""
    lines = [SIMULATED, ""] if model.simulated else []
    lines += [_made_of(model)]
    lines += [] if model.converged else [NOT_SETTLED]
    lines += [
        "",
        f"Multiplier, mA per V/ohm, at {usual_frequency(model):g} Hz, with {model.level:.0%} limits of its mean",
    ]
    for (rectifier, filter), part in model.classes(model.level).groupby(["rectifier", "filter"], sort=False):
        lines += ["", f"{rectifier}, {filter} input", "  class  core area cm2  known   multiplier   low    high"]
        for row in part.to_dict("records"):
            low, high = row["low_area_cm2"], row["high_area_cm2"]
            area = f"{low:g} to {high:g}" if high < float("inf") else f"{low:g} and up"
            lines.append(
                f"  {row['size_class']:>5}  {area:>13}  {row['count']:>5}  {row['multiplier']:>10.1f}  "
                f"{row['low']:>5.1f}  {row['high']:>5.1f}"
            )
    lines += ["", f"Between units of one size, supply and bench: about {model.scatter:.0%} (standard deviation)."]
    doubtful = model.suspects()
    if len(doubtful):
        lines += ["", "Doubtful records, kept but counted for less:"]
        lines += [
            f"  {row['contributor']}, {row['unit']}: sound with probability {row['odds_sound']:.2f}; "
            f"{row['likely_slip']}"
            for row in doubtful.head(MOST_DOUBTFUL).to_dict("records")
        ]
        more = len(doubtful) - MOST_DOUBTFUL
        lines += [f"  and {more} more"] if more > 0 else []
    return "\n".join([*lines, *model.notes, "", CAUTION])


def _made_of(model: Multiplier) -> str:
    if not model.records:
        return f"No known units: the first-principles prior alone (fit {model.content_hash})"
    benches = len(model.layout.contributors)
    return f"{model.records} known units from {benches} contributor(s) (fit {model.content_hash})"
