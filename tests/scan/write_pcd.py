"""PCD files for tests; the compressed kind with a plain LZF packer of the test's own."""

from pathlib import Path

import numpy as np

from unfold.arrays import Floats


def write_pcd(path: Path, points: Floats, data: str, kind: str, viewpoint: str = "0 0 0 1 0 0 0") -> None:
    """Write points (n, 3) between an rgb field and a padded one of three bytes; `kind` is "F4" or "F8"."""
    size = int(kind[1])
    header = (
        "# .PCD v0.7 - Point Cloud Data file format\nVERSION 0.7\nFIELDS rgb x y z _\n"
        f"SIZE 4 {size} {size} {size} 1\nTYPE U F F F U\nCOUNT 1 1 1 1 3\nWIDTH {len(points)}\nHEIGHT 1\n"
        f"VIEWPOINT {viewpoint}\nPOINTS {len(points)}\nDATA {data}\n"
    )
    rows = np.zeros(len(points), [("c", "<u4"), *((axis, f"<f{size}") for axis in "xyz"), ("_", "u1", (3,))])
    for number, axis in enumerate("xyz"):
        rows[axis] = points[:, number]
    if data == "ascii":
        body = "".join(f"4294967295 {x:.9g} {y:.9g} {z:.9g} 0 0 0\n" for x, y, z in points).encode()
    elif data == "binary":
        body = rows.tobytes()
    else:
        whole = b"".join(np.ascontiguousarray(rows[name]).tobytes() for name in ("c", "x", "y", "z", "_"))
        packed = pack_lzf(whole)
        body = len(packed).to_bytes(4, "little") + len(whole).to_bytes(4, "little") + packed
    path.write_bytes(header.encode() + body)


def pack_lzf(data: bytes) -> bytes:
    """Pack bytes by the LZF scheme: literal runs of up to 32, references of up to 264 bytes up to 8 KiB back."""
    packed, literal, seen, i = bytearray(), bytearray(), dict[bytes, int](), 0

    def flush() -> None:
        for start in range(0, len(literal), 32):
            run = literal[start : start + 32]
            packed.extend((len(run) - 1, *run))
        literal.clear()

    while i < len(data):
        key = data[i : i + 3]
        back = i - seen.get(key, -(1 << 20)) - 1
        seen[key] = i
        if len(key) < 3 or back >= 1 << 13:
            literal.append(data[i])
            i += 1
            continue
        start, length = i - back - 1, 3
        while length < 264 and i + length < len(data) and data[start + length] == data[i + length]:
            length += 1
        flush()
        short = min(length - 2, 7)
        packed.append((short << 5) | (back >> 8))
        if short == 7:
            packed.append(length - 9)
        packed.append(back & 255)
        i += length
    flush()
    return bytes(packed)
