"""Constants of nature and of the calendar, under the names of the house."""

from __future__ import annotations

from scipy import constants

ZERO_C_K: float = constants.zero_Celsius  # 273.15 K, exact by definition
DAY_S: float = constants.day  # 86,400 s
