"""Closed-form solutions of heat conduction, as oracles for the tests.

Plain NumPy and SciPy, nothing of the program under test. SI units, angles in radians,
temperatures as rises above ambient [K] unless a docstring says otherwise. Power is always the
net power that enters the work. Functions of the 1-D modules broadcast their arguments; those
that take a list of `Run` (moving.sheet_gaussian, shell, spectral3d) take points (p,) and times
(n,) and return (n, p). Section numbers of the books cited are from memory.

Module        solves
slab          wall, rod and bar in one dimension
plane2d       steady conduction in a rectangle
lumped        a sheet cooling as one temperature
fins          sheet, tube and annular fins, steady and heated
contact       two bodies exchanging heat through a conductance
stefan        melting, at a point and over a range; travelling source with latent heat
moving        moving sources on thick bodies and thin sheets
shell         sources on the unrolled wall of a thin tube
radiating     the same with radiation
spectral3d    moving source on a plate or tube of finite thickness
kirchhoff     conductivity and specific heat growing alike with temperature
cooling_time  t8/5 of EN 1011-2
steel         property formulas of EN 1993-1-2
"""
