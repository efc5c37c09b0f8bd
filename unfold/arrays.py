"""Names for the array types that the stages exchange; shapes are given in words beside each use."""

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Floats32: TypeAlias = NDArray[np.float32]
Counts: TypeAlias = NDArray[np.uint32]
Bools: TypeAlias = NDArray[np.bool_]
Ints: TypeAlias = NDArray[np.int64]
AnyArray: TypeAlias = NDArray[Any]
