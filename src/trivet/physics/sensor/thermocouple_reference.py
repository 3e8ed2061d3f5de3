"""The ITS-90 reference functions of base-metal thermocouples, as numbers.

Electromotive force against temperature with the reference junction at 0 C: E = sum of c_i * t**i, E
in mV, t in C, in pieces; type K has an exponential besides, a0 * exp(a1 * (t - a2)**2), from 0 C
up.

Source of every number: NIST Monograph 175 (1993), the tables of reference functions, which IEC
60584-1 and ASTM E230 share.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

ThermocoupleKind = Literal["K", "T", "J", "N"]


class ReferencePiece(NamedTuple):
    """One piece: its range [C] and coefficients [mV/C**i], lowest power first."""

    low_c: float
    high_c: float
    coefficients: tuple[float, ...]


REFERENCE_FUNCTIONS: dict[ThermocoupleKind, tuple[ReferencePiece, ...]] = {
    "K": (
        ReferencePiece(
            -270.0,
            0.0,
            (
                0.0,
                0.039450128025,
                2.3622373598e-05,
                -3.2858906784e-07,
                -4.9904828777e-09,
                -6.7509059173e-11,
                -5.7410327428e-13,
                -3.1088872894e-15,
                -1.0451609365e-17,
                -1.9889266878e-20,
                -1.6322697486e-23,
            ),
        ),
        ReferencePiece(
            0.0,
            1372.0,
            (
                -0.017600413686,
                0.038921204975,
                1.8558770032e-05,
                -9.9457592874e-08,
                3.1840945719e-10,
                -5.6072844889e-13,
                5.6075059059e-16,
                -3.2020720003e-19,
                9.7151147152e-23,
                -1.2104721275e-26,
            ),
        ),
    ),
    "T": (
        ReferencePiece(
            -270.0,
            0.0,
            (
                0.0,
                0.038748106364,
                4.4194434347e-05,
                1.1844323105e-07,
                2.0032973554e-08,
                9.0138019559e-10,
                2.2651156593e-11,
                3.6071154205e-13,
                3.8493939883e-15,
                2.8213521925e-17,
                1.4251594779e-19,
                4.8768662286e-22,
                1.079553927e-24,
                1.3945027062e-27,
                7.9795153927e-31,
            ),
        ),
        ReferencePiece(
            0.0,
            400.0,
            (
                0.0,
                0.038748106364,
                3.329222788e-05,
                2.0618243404e-07,
                -2.1882256846e-09,
                1.0996880928e-11,
                -3.0815758772e-14,
                4.547913529e-17,
                -2.7512901673e-20,
            ),
        ),
    ),
    "J": (
        ReferencePiece(
            -210.0,
            760.0,
            (
                0.0,
                0.050381187815,
                3.047583693e-05,
                -8.568106572e-08,
                1.3228195295e-10,
                -1.7052958337e-13,
                2.0948090697e-16,
                -1.2538395336e-19,
                1.5631725697e-23,
            ),
        ),
        ReferencePiece(
            760.0,
            1200.0,
            (
                296.45625681,
                -1.4976127786,
                0.0031787103924,
                -3.1847686701e-06,
                1.5720819004e-09,
                -3.0691369056e-13,
            ),
        ),
    ),
    "N": (
        ReferencePiece(
            -270.0,
            0.0,
            (
                0.0,
                0.026159105962,
                1.0957484228e-05,
                -9.3841111554e-08,
                -4.6412039759e-11,
                -2.6303357716e-12,
                -2.2653438003e-14,
                -7.6089300791e-17,
                -9.3419667835e-20,
            ),
        ),
        ReferencePiece(
            0.0,
            1300.0,
            (
                0.0,
                0.025929394601,
                1.571014188e-05,
                4.3825627237e-08,
                -2.5261169794e-10,
                6.4311819339e-13,
                -1.0063471519e-15,
                9.9745338992e-19,
                -6.0863245607e-22,
                2.0849229339e-25,
                -3.0682196151e-29,
            ),
        ),
    ),
}

# a0 [mV], a1 [1/C2], a2 [C] of the exponential of type K, from 0 C up
EXPONENTIAL_K: tuple[float, float, float] = (0.1185976, -0.0001183432, 126.9686)
