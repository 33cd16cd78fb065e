"""The sun of the textbooks, and the table by which days were drawn in 1988: for checks only."""

from __future__ import annotations

import numpy as np

# three of the ten tables of Aguiar, Collares-Pereira & Conde 1988, from memory: those of a monthly
# clearness up to 0.30, of 0.35 to 0.40, and of 0.40 to 0.45; rows in per mille as printed.
# Every row adds up to 1000 within the rounding, and the means they settle at are those of SUN_R16:
# the other seven could not be recalled so that this holds, and are left out.
TABLES = {
    0.241: (0.031, 0.705, """
        229 333 208  42  83  42  42  21   0   0
        167 319 194 139  97  28  42   0  14   0
        250 250  91 136  91  46  46  23  68   0
        158 237 158 263  26  53  79  26   0   0
        211  53 211 158  53  53 158 105   0   0
        125 125 250 188  63 125   0 125   0   0
         40 240  80 120  80  80 120 120  80  40
          0 250   0 125   0 125 125 250  63  63
          0 250   0 125 250   0 250   0   0 125
          0   0   0   0   0   0   0 500 250 250"""),
    0.374: (0.051, 0.753, """
        206  88 176 176  88  29 176  29  29   0
        120 100 140 160 120 220 100   0  20  20
         77 123 185 123  77 139  92 123  61   0
         48 111  95 206 206 190  95  48   0   0
         59 137 118 137  98 118 118 157  59   0
         14  97 139 153 125 139 208  56  42  28
         73 101 116 145  87 159 203  87  29   0
         19  37 111  56  74 111 185 296  74  37
         35  69  35   0  35 103 172 138 379  35
          0 167 167   0 167   0   0 333   0 167"""),
    0.429: (0.052, 0.753, """
        167 167 100  83  67 167 183  33  33   0
        117 117 150 117  83 117 200  67  17  17
         49  85 134 158  98 110 134 134  61  37
         39  90 141 141 167 141  90 141  39  13
          9 139  74  93 194 139 167  93  74  19
         36  18 117  99 144 180 180 117  72  36
          0  46  61  61 136 159 273 167  98   0
         16  56  80 128 104  80 160 208 136  32
         11  53  21  43 128  96  74 223 277  74
          0  74  37   0  74  74  74  74 333 259"""),
}  # fmt: skip


def cooper(day):
    """Declination on a day of the year, 1 is the first of January. [rad]"""
    return np.radians(23.45 * np.sin(2 * np.pi * (284 + np.asarray(day)) / 365))


def spencer_time(day):
    """Equation of time. [min]"""
    b = 2 * np.pi * (np.asarray(day) - 1) / 365
    series = 0.000075 + 0.001868 * np.cos(b) - 0.032077 * np.sin(b)
    return 229.2 * (series - 0.014615 * np.cos(2 * b) - 0.04089 * np.sin(2 * b))


def normal(day, solar_constant=1367.0):
    """Irradiance across the rays outside the air. [W/m2]"""
    return solar_constant * (1 + 0.033 * np.cos(2 * np.pi * np.asarray(day) / 365))


def settled(clearness):
    """Rows' sums, and mean, deviation and memory of the days that a table settles at."""
    low, high, text = TABLES[clearness]
    table = np.array(text.split(), float).reshape(10, 10) / 1000
    sums = table.sum(axis=1)
    table = table / sums[:, None]
    share = np.full(10, 0.1) @ np.linalg.matrix_power(table, 200)
    width = (high - low) / 10
    middle = low + width * (np.arange(10) + 0.5)
    mean = share @ middle
    variance = share @ (middle - mean) ** 2 + width**2 / 12  # even inside a state
    memory = (share * (middle - mean)) @ table @ (middle - mean) / variance
    return sums, mean, np.sqrt(variance), memory
