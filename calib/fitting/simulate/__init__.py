"""Transformers from first principles: what makes the prior and the practice register."""
