"""How the loops in `kernels.py` are compiled, and arrays passed without counting references."""

from collections.abc import Callable
from typing import Any, cast

from numba import njit
from numba.core import cgutils
from numba.extending import intrinsic

from unfold.arrays import AnyArray

compiled = njit(cache=True, nogil=True, error_model="numpy")  # no fast-math: values may be NaN
inlined = njit(cache=True, nogil=True, error_model="numpy", forceinline=True)


def _borrowed(_: Any, array: Any) -> Any:
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        view = cast(Any, cgutils).create_struct_proxy(signature.args[0])(context, builder, value=arguments[0])
        view.meminfo = view.meminfo.type(None)
        return view._getvalue()

    return array(array), generate


# In compiled code: the same array without its owner, whom the caller keeps. Passed to a function in a loop, an array is
# else counted in and out by atomic operations, in which two threads wait for each other at every point.
borrowed: Callable[[AnyArray], AnyArray] = cast(Any, intrinsic(_borrowed))
