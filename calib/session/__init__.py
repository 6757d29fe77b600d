"""The bench session: its steps as data, what was understood of them, its copy in the register, page and sheet."""
