"""The fit of known units that are too many for memory: passes over a table that stays where it is."""
