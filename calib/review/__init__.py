"""What a person must see in a register: records in doubt, each with its reason and its correction."""

from calib.review.doubtful import Doubt, Review, review_of, review_register

__all__ = ["Doubt", "Review", "review_of", "review_register"]
