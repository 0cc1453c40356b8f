"""The one set of compiler options: no fastmath (bits must repeat), divisions by zero give inf as in numpy."""

from numba import njit

kernel = njit(cache=True, error_model="numpy")
