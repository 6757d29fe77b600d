"""What is known: the records of known units, their tables and the store that keeps them.

Other wings use `records` (the fields and their limits), `exchange` (tables in), `package` (tables out), `improbable`
(what looks unlikely) and `store` (the register).
"""
