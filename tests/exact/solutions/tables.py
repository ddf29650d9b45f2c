"""Answers to hold the solutions against, as printed when they were computed independently.

Each block is text so that the number of printed digits is kept; `rows` splits it. Temperatures
are rises [K] except where degC is said. The inputs stand in `cases` and in the tests.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from .common import Array

__all__ = ["assert_printed", "columns", "rows"]


def rows(block: str) -> list[list[str]]:
    """Return the words of each line that has any."""
    return [line.split() for line in block.splitlines() if line.strip()]


def columns(block: str) -> tuple[Array, list[list[str]]]:
    """Return the first column as numbers and the rest as printed."""
    lines = rows(block)
    return np.array([float(line[0]) for line in lines]), [line[1:] for line in lines]


def assert_printed(printed: list[list[str]], computed: ArrayLike, slack: float = 0.0) -> None:
    """Compare words as printed with numbers, to half a unit in each word's last digit."""
    words = np.array(printed)
    values = np.asarray(computed, dtype=float).reshape(words.shape)
    unit = np.array([[10.0 ** -len(w.partition(".")[2]) for w in row] for row in words])
    off = np.abs(values - words.astype(float)) - (0.5 * unit * (1.0 + 1e-6) + slack)
    assert off.max() <= 0.0, [
        (words[i], float(values[i])) for i in zip(*np.nonzero(off > 0.0), strict=True)
    ]


# DIN EN 1991-1-2/NA, annex CC.4.1: time s, exact degC, published degC (rows after 60 s: published
# column from memory).
WALL = """
0 1000.00 1000.0
60 999.28 999.3
300 891.80 891.8
600 717.68 717.7
900 574.87 574.9
1200 460.40 460.4
1500 368.72 368.7
1800 295.30 295.3
"""

# ISO 10211 case 1: y, then T at x = 15, 10, 5, 0.
COLUMN = """
35 9.66 13.38 14.73 15.09
30 5.25 8.64 10.32 10.81
25 3.19 5.61 7.01 7.47
20 2.01 3.64 4.66 5.00
15 1.26 2.31 2.99 3.22
10 0.74 1.36 1.77 1.91
5 0.34 0.63 0.82 0.89
"""

# Sheet cooling from 1100 degC: thickness mm, emissivity, film, seconds to 800, 500, 300, 150 degC.
LUMPED = """
1 0.3 0 20.11 85.12 241.05 679.68
1.5 0.6 10 13.33 51.14 123.62 273.15
3 0.85 25 17.28 62.94 142.44 291.84
"""

# Sheet heated at its edge: time s, rise at the base, 10 mm, 40 mm.
HEATED_EDGE = """
5 74.980 6.875 0.000
30 167.018 69.201 2.791
120 253.858 149.637 48.475
600 287.752 183.413 81.565
"""

# Two thick bodies: conductance, time, T(-5 mm), T(0-), T(0+), T(+5 mm) degC, flux kW/m2.
HALF_SPACES = """
500 0.5 899.62 863.43 45.46 22.15 408.99
500 5 862.87 797.10 91.63 58.85 352.73
2000 0.5 898.60 775.27 106.82 27.77 1336.89
2000 5 794.41 628.46 209.01 127.75 838.90
10000 0.5 895.12 564.36 253.63 45.17 3107.30
10000 5 701.51 449.27 333.75 214.00 1155.26
"""

# Two layers: conductance, time, T1 outer, T1 joint, T2 joint, T2 outer degC.
TWO_LAYERS = """
300 0.2 892.06 884.36 30.05 21.97
300 1 851.71 844.52 47.44 39.43
300 4 722.95 717.40 102.14 95.95
1500 0.2 862.79 828.15 66.03 29.31
1500 1 701.62 676.71 128.80 100.68
1500 4 408.14 400.87 241.00 232.79
8000 0.2 753.37 639.12 184.93 58.14
8000 1 405.44 376.75 262.27 227.97
8000 4 287.92 287.75 287.08 286.88
"""

# Lapped sheets: conductance, theta 1 heated edge, mid, far end, theta 2 the same, heat shares %.
LAP = """
200 3077.04 2107.54 1512.56 956.84 1075.61 1097.00 38.27 35.90
1000 2317.69 1548.45 1167.60 1252.76 1338.83 1314.47 29.54 47.01
3000 1966.17 1379.54 1120.50 1322.56 1337.64 1265.96 28.35 49.63
20000 1621.88 1278.32 1109.84 1367.46 1278.81 1168.89 28.08 51.31
"""

# Melting at 1450 degC: time s, front mm, T degC at 2, 5, 10, 20 mm.
NEUMANN = """
2 0.6052 1082.92 468.87 73.33 25.02
10 1.3533 1371.58 1024.53 554.63 109.01
40 2.7067 1489.01 1311.57 1024.53 554.63
"""

# Melting over 1400-1455 degC: time s, liquidus front, solidus front mm, T at 2, 5, 10, 20 mm.
RANGE_STEEL = """
2 0.5812 0.7935 1083.80 469.24 73.37 25.02
10 1.2995 1.7743 1372.70 1025.36 555.07 109.08
40 2.5991 3.5486 1488.30 1312.64 1025.36 555.07
"""

# The same for a silicon bronze, 971-1027 degC: T at 2, 5, 10 mm.
RANGE_BRONZE = """
1 0.3096 0.6137 733.45 329.72 60.73
5 0.6923 1.3722 921.49 695.33 386.64
20 1.3845 2.7444 1001.18 882.44 695.33
"""

# Travelling source: flux MW/m2, T degC at -6, -2, 0, 2, 4, 6 mm, far behind.
TRAVELLING = """
8 980.4 942.6 810.9 559.5 301.9 141.8 980.6
12 1400.9 1356.9 1186.1 848.2 478.0 227.6 1401.0
16 1448.4 1425.7 1335.2 1005.1 588.6 286.3 1448.5
"""

# Standing spot on a thick body: time s, rise.
SPOT = """
0.1 539.18
0.3 793.65
1 1056.29
3 1229.59
inf 1496.03
"""

# Moving Gaussian on a thick body: xi, y, z mm, rise after 1 s, 5 s, quasi-steady.
EAGAR_TSAI = """
0 0 0 2064.71 2381.04 2421.27
-2 0 0 1424.11 1827.91 1884.87
-5 0 0 275.64 693.18 780.24
0 2 0 1230.90 1518.34 1557.54
0 0 1.5 730.67 1027.77 1067.40
-4 3 0 244.24 595.92 668.13
3 0 0 538.29 691.62 713.26
"""

# Line source through a sheet: xi, y mm, rise.
LINE_SOURCE = """
-10 0 1922.26
-10 5 1436.40
-20 10 737.79
0 6 788.10
5 5 224.07
-40 15 410.21
"""

# Its isotherms: rise, half width mm, xi of the widest place mm.
LINE_SOURCE_WIDTH = """
400 15.770 -30.629
800 9.490 -14.630
1200 6.551 -8.249
"""

# Sheet under a moving Gaussian: time s, rise at (10,0) (20,0) (20,4) (10,8) (0,3) mm.
SHEET = """
2 149.06 0.03 0.02 12.57 628.78
4 2023.74 8.90 6.40 170.65 570.94
8 1164.93 2139.33 883.64 497.78 444.17
12 712.48 609.46 537.67 468.82 364.00
20 357.71 302.46 287.25 293.60 250.66
"""

# Plate: time s, rise at (20,15,0) (20,15,1.5) (20,19,0.75) (28,12,1.5) (40,20,0) mm.
PLATE = """
4 2268.16 1693.67 807.85 34.32 0.01
8 1254.88 1255.57 960.43 1236.47 5.58
12 726.28 726.78 652.20 598.30 69.35
18 2002.01 1654.49 1037.59 1586.94 300.14
30 542.17 542.53 533.44 559.70 337.38
"""

# Thin tube: time s (rounded: see `cases.quarter_times`), rise at the probes of `cases.TUBE_PROBES`.
SHELL = """
4.284 1697.98 16.00 0.03 0.01 18.33 585.15
8.568 981.66 1817.24 21.18 0.73 54.61 415.61
18.568 353.15 302.66 138.92 12.82 85.79 250.52
27.136 323.27 606.31 977.41 54.50 83.52 189.09
37.136 265.20 384.61 434.14 187.35 82.41 166.66
55.704 193.96 252.68 324.73 500.64 191.26 176.83
64.272 210.79 226.83 274.30 457.08 473.88 2000.45
74.272 321.38 239.06 240.38 385.22 415.80 479.54
120.000 185.15 178.37 171.64 192.85 173.80 194.22
"""

SHELL_MEAN = "44.15 86.58 78.89 159.42 145.25 201.09 272.26 248.07 162.10"

# Tube of real wall: the same, at the probes of `cases.CYLINDER_PROBES`.
CYLINDER = """
4.462 2097.56 1785.88 13.75 0.02 0.01 17.43 642.52
8.925 1085.50 1086.23 2221.45 18.29 0.59 55.10 455.36
18.925 404.58 404.79 343.98 147.80 10.82 89.00 279.39
27.850 354.53 354.76 667.51 1073.15 49.02 87.99 206.91
37.850 289.54 289.71 427.75 490.18 195.01 85.20 179.22
56.775 206.11 206.23 272.28 352.35 558.44 194.81 181.24
65.700 215.57 215.79 240.82 294.83 493.13 494.70 2098.14
75.700 336.90 337.12 247.11 254.37 413.48 449.03 525.70
120.000 194.46 194.58 185.31 177.97 205.39 184.27 207.01
"""

# Its peaks: angle deg, height mm, depth mm, highest rise, time s.
CYLINDER_PEAKS = """
45 20 0 2230.48 4.890
45 20 1 1982.98 5.106
90 20 0 2221.45 8.925
135 23 0.5 1398.85 24.483
225 20 0 2415.14 42.738
315 30 0 534.56 68.530
"""

# Twice the widest extent above z = 20 mm, in mm, at the end of each segment: 1000 K outside and
# inside, 1380 K outside and inside.
CYLINDER_WIDTHS = """
1 8.697 8.694 6.051 5.903
2 9.433 9.436 6.424 6.329
3 9.926 9.930 6.736 6.668
4 10.678 10.683 7.200 7.161
"""

# Ring on a sheet: time s, rise at r = 0, 8, 15, 20, 30 mm.
RING_SHEET = """
3 6.25 40.61 132.95 47.93 0.63
12 163.90 228.15 318.13 179.08 28.64
20 224.88 215.91 181.32 139.28 53.64
60 82.58 78.88 70.28 61.96 43.13
"""

# Ring on a tube: time s, rise at z = 0, 3, 8, 15, 30 mm.
RING_TUBE = """
5 275.61 198.28 61.55 6.67 0.00
20 585.99 495.68 291.99 121.85 10.61
30 301.58 294.11 252.63 163.95 31.74
90 83.44 82.99 80.25 72.75 48.24
"""

# Radiating thin tube: time s, T degC at the probes of `cases.TUBE_PROBES`. This one was itself
# computed numerically (its error was given as about 0.01 K).
RADIATING = """
4.284 1670.19 36.03 20.03 20.01 38.51 590.35
8.568 924.76 1759.29 40.99 20.75 74.90 419.14
18.568 354.71 306.99 154.08 33.25 106.27 262.69
27.136 334.96 585.79 906.39 75.41 105.82 209.25
37.136 281.93 384.30 421.98 201.45 107.27 191.21
55.704 222.81 275.50 335.97 478.31 212.83 205.93
64.272 242.12 254.89 294.10 451.72 469.73 1910.98
74.272 338.74 269.09 268.13 389.19 407.64 465.60
120.000 232.63 227.08 220.45 238.98 219.39 240.05
300.000 100.89 100.89 100.69 100.90 100.19 100.90
"""

# Thin tube with k and c growing alike: time s, rise at (45, 20) (135, 23) (225, 20) (0, 20).
KIRCHHOFF = """
4.284 1621.49 0.00 0.00 712.16
18.568 550.51 179.70 8.17 381.59
27.136 483.80 1114.62 38.57 308.51
64.272 356.00 486.94 674.58 1853.50
120.000 462.69 433.58 491.53 486.85
"""

# t8/5: heat kJ/mm, thickness mm, preheat degC, EN 2-D, EN 3-D, line source (k 45, rho c 4.9e6) s.
COOLING = """
0.1 1 20 11.36 0.53 9.73
0.1 1.5 20 5.05 0.53 4.33
0.15 1.5 150 21.19 1.18 20.92
0.25 3 20 7.89 1.32 6.76
0.6 12 100 4.07 3.99 3.80
"""
