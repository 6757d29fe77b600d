"""Exact motion of a linear circuit of two states under a sine and a constant, for many cases at once.

y' = A y + g sin t + c, with y = (first, second); A, g and c constant, A stable.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.supply.numerics import Array

Pair = tuple[Array, Array]


@dataclass(frozen=True)
class Circuit:
    """A circuit of two states; every attribute is an array of one value a case, or of shape (cases, 1).

    Attributes
    ----------
    a11, a12, a21, a22 : array
        The matrix A [1/rad].
    steady : tuple of arrays
        Complex amplitudes of both states under the sine: y = Im(amplitude exp(jt)).
    constant : tuple of arrays
        What both states settle to under the constant c.
    """

    a11: Array
    a12: Array
    a21: Array
    a22: Array
    steady: Pair
    constant: Pair

    @property
    def rates(self) -> Pair:
        """Both eigenvalues of A, complex [1/rad]; the second is the faster."""
        mean = (self.a11 + self.a22) / 2
        determinant = self.a11 * self.a22 - self.a12 * self.a21
        root = np.sqrt((mean**2 - determinant).astype(complex))
        fast = mean - root
        return determinant / fast, fast

    def column(self) -> Circuit:
        """The same circuit with arrays of shape (cases, 1), to be asked at several angles a case."""
        a11, a12, a21, a22 = (value[:, None] for value in (self.a11, self.a12, self.a21, self.a22))
        steady, constant = ((pair[0][:, None], pair[1][:, None]) for pair in (self.steady, self.constant))
        return Circuit(a11, a12, a21, a22, steady, constant)

    def settled(self, angle: Array, sign: Array | float = 1.0) -> Pair:
        """The particular motion at an angle; sign -1 for a source that has been turned over."""
        turn = np.exp(1j * angle)
        first, second = ((amplitude * turn).imag for amplitude in self.steady)
        return sign * first + self.constant[0], sign * second + self.constant[1]

    def transition(self, length: Array) -> tuple[Array, Array, Array, Array]:
        """Elements of exp(A length), length from 0 [rad]."""
        slow, fast = self.rates
        gap = slow - fast
        decay = np.exp(slow * length)
        with np.errstate(all="ignore"):
            ratio = np.where(np.abs(gap * length) > 1e-12, -np.expm1(-gap * length) / gap, length)
        share = decay * ratio  # (exp(slow x) - exp(fast x))/(slow - fast)
        # exp(A x) = exp(slow x) I + share (A - slow I)
        return (
            (decay + share * (self.a11 - slow)).real,
            (share * self.a12).real,
            (share * self.a21).real,
            (decay + share * (self.a22 - slow)).real,
        )

    def move(self, state: Pair, start: Array, angle: Array, sign: Array | float = 1.0) -> Pair:
        """State at ``angle``, having been ``state`` at ``start``."""
        from_first, from_second = self.settled(start, sign)
        first, second = state[0] - from_first, state[1] - from_second
        m11, m12, m21, m22 = self.transition(angle - start)
        to_first, to_second = self.settled(angle, sign)
        return to_first + m11 * first + m12 * second, to_second + m21 * first + m22 * second

    def cycle(self, length: float) -> Pair:
        """State at angle 0 that comes back after ``length`` of always conducting, the source then starting anew."""
        zero = np.zeros_like(self.a11)
        m11, m12, m21, m22 = self.transition(zero + length)
        at_start, at_stop = self.settled(zero), self.settled(zero + length)
        b1, b2 = at_stop[0] - at_start[0], at_stop[1] - at_start[1]
        scale = (1 - m11) * (1 - m22) - m12 * m21
        first = ((1 - m22) * b1 + m12 * b2) / scale
        second = (m21 * b1 + (1 - m11) * b2) / scale
        return at_start[0] + first, at_start[1] + second
