"""The checksums of an E57 file: every page of 1024 bytes ends in the CRC-32C of the rest (ASTM E2807).

libE57 verifies them too, but that takes as long as all its decoding; here all pages are verified beforehand in a
fraction of it, and libE57 is told not to.
"""

from pathlib import Path

import numpy as np

from unfold.arrays import AnyArray
from unfold.scan import kernels

PAGE_BYTES, PAGE_SIZE_AT = 1024, 40  # the header states the page size at byte 40
BLOCK_BYTES = 1 << 22
CASTAGNOLI = 0x82F63B78  # the polynomial of CRC-32C, lowest bit first (RFC 3720, appendix B.4)


def crc_tables() -> AnyArray:
    """Return the (8, 256) tables for eight bytes a step: [k, b] is the CRC of byte b with k zero bytes after it."""
    tables = np.zeros((8, 256), np.uint32)
    tables[0] = np.arange(256)
    for _ in range(8):
        tables[0] = (tables[0] >> 1) ^ np.where(tables[0] & 1, np.uint32(CASTAGNOLI), np.uint32(0))
    for k in range(1, 8):
        tables[k] = (tables[k - 1] >> 8) ^ tables[0, tables[k - 1] & 255]
    return tables


def pages_are_sound(path: Path) -> bool:
    """Verify every page of a file; False also for a file of another page size or with a part of a page at its end."""
    tables, block = crc_tables(), np.empty(BLOCK_BYTES, np.uint8)
    with path.open("rb", buffering=0) as stream:
        head = stream.read(PAGE_SIZE_AT + 8)
        if int.from_bytes(head[PAGE_SIZE_AT:], "little") != PAGE_BYTES:
            return False
        stream.seek(0)
        while count := stream.readinto(block.data):
            if count % PAGE_BYTES or kernels.first_broken_page(block[:count], tables) >= 0:
                return False
    return True
