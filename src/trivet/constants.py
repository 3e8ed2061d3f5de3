"""Constants of nature and of the calendar, under the names of the house."""

from __future__ import annotations

from scipy import constants

ZERO_C_K: float = constants.zero_Celsius  # 273.15 K, exact by definition
DAY_S: float = constants.day  # 86,400 s
STEFAN_BOLTZMANN_W_M2K4 = round(constants.Stefan_Boltzmann, 17)  # to CODATA's printed digits
GAS_J_MOLK = round(constants.R, 9)  # likewise
GRAVITY_M_S2 = round(constants.g, 2)  # own estimate: places differ by 0.05, more digits say nothing
VAPOUR_J_KGK = 461.5
"""Gas constant of water vapour: R over 18.015 g/mol (IAPWS R6-95)."""
