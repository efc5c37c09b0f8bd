"""Open3D, brought up on a machine that lacks the system library its wheel is linked against."""

import ctypes
from types import ModuleType

from unfold.errors import UnfoldError


def load_open3d() -> ModuleType:
    """Import Open3D, after loading the libusb that the package `libusb-package` carries.

    Raises UnfoldError naming the shared library or package that is missing.
    """
    try:
        import libusb_package

        ctypes.CDLL(str(libusb_package.get_library_path()), ctypes.RTLD_GLOBAL)
        import open3d
    except ImportError as error:
        raise UnfoldError(
            f"Open3D cannot be loaded: {error}", "install the package or system library named there"
        ) from error
    except OSError as error:
        raise UnfoldError(f"Open3D cannot be loaded: {error}", "install that shared library") from error
    module: ModuleType = open3d
    return module
