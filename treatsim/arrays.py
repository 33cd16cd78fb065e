"""Names for the numbers that formulas take and give."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

Array: TypeAlias = np.ndarray[Any, np.dtype[np.float64]]  # one number per operating point
ArrayLike: TypeAlias = float | Array  # one number for all points, or one for each
Index: TypeAlias = np.ndarray[Any, np.dtype[np.intp]]  # numbers of points
Flags: TypeAlias = np.ndarray[Any, np.dtype[np.bool_]]  # yes or no for each point
Words: TypeAlias = np.ndarray[Any, np.dtype[np.str_]]  # a word for each point
