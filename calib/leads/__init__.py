"""Which lead is which: from resistances between pairs of leads to windings, taps, likely roles and the next reading."""

from calib.leads.advice import NextStep
from calib.leads.checks import Contradiction
from calib.leads.readings import LeadReading, lead_readings
from calib.leads.result import CAUTIONS, LeadsFound, LeadWinding, Order, identify_leads
from calib.leads.roles import CODED_WEIGHT, OTHER_WEIGHT, ColourHint, colour_hint, colour_of, expected_ohm_ratio

__all__ = [
    "CAUTIONS",
    "CODED_WEIGHT",
    "OTHER_WEIGHT",
    "ColourHint",
    "Contradiction",
    "LeadReading",
    "LeadWinding",
    "LeadsFound",
    "NextStep",
    "Order",
    "colour_hint",
    "colour_of",
    "expected_ohm_ratio",
    "identify_leads",
    "lead_readings",
]
