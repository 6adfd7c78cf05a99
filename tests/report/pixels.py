"""What is really to be seen in a PNG file: its pixels, read as ISO/IEC 15948 says, so that a test can look at a picture."""

from __future__ import annotations

import struct
import zlib

import numpy as np
import numpy.typing as npt

_CHANNELS = {0: 1, 2: 3, 4: 2, 6: 4}  # by colour type: grey, colours, each with or without transparency


def ink_of(png: bytes) -> npt.NDArray[np.float64]:
    """(height, width) darkness on white paper, 0 to 1."""
    assert png.startswith(b"\x89PNG\r\n\x1a\n")
    parts: dict[bytes, bytes] = {}
    at = 8
    while at < len(png):
        length, kind = struct.unpack(">I4s", png[at : at + 8])
        body = png[at + 8 : at + 8 + length]
        assert zlib.crc32(kind + body) == struct.unpack(">I", png[at + 8 + length : at + 12 + length])[0]
        parts[kind] = parts.get(kind, b"") + body
        at += 12 + length
    width, height, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", parts[b"IHDR"])
    assert (depth, interlaced) == (8, 0)
    step = _CHANNELS[colour]
    lines = np.frombuffer(zlib.decompress(parts[b"IDAT"]), np.uint8).reshape(height, width * step + 1)
    shown = np.zeros((height + 1, width * step), np.uint8)  # above the first line is a line of zeros
    for y in range(height):
        shown[y + 1] = _line(int(lines[y, 0]), lines[y, 1:], shown[y], step)
    pixels = shown[1:].reshape(height, width, step) / 255.0
    solid = pixels[..., -1] if colour in (4, 6) else np.ones((height, width))
    brightness = pixels[..., : 1 if step < 3 else 3].mean(axis=2)
    return np.asarray((1.0 - brightness) * solid, np.float64)


def _line(
    kind: int, left_over: npt.NDArray[np.uint8], above: npt.NDArray[np.uint8], step: int
) -> npt.NDArray[np.uint8]:
    """One line as it was before it was filtered (section 9 of the standard)."""
    if kind == 0:
        return left_over
    if kind == 1:
        sums = np.cumsum(left_over.reshape(-1, step), axis=0, dtype=np.uint8)
        return sums.reshape(-1)
    if kind == 2:
        return left_over + above
    line, over, up = bytearray(step), left_over.tolist(), [0] * step + above.tolist()  # a pixel of zeros on the left
    for at, value in enumerate(over, step):
        left, top, corner = line[at - step], up[at], up[at - step]
        if kind == 3:
            guess = (left + top) // 2
        else:
            far = [abs(top - corner), abs(left - corner), abs(left + top - 2 * corner)]
            guess = (left, top, corner)[far.index(min(far))]
        line.append((value + guess) & 255)
    return np.frombuffer(bytes(line[step:]), np.uint8)
