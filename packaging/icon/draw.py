#!/usr/bin/env python3
"""Draws the program's icon (a glider on its cable) and writes it in the forms the platforms want. Needs nothing but Python.

Usage: packaging/icon/draw.py     writes cableside.ico, cableside.icns and cableside-SIZE.png beside this file
"""

import math
import pathlib
import struct
import zlib

SIZE = 1024  # drawn so large, then made smaller by averages
SKY, SKY_LOW = (24, 78, 119), (82, 148, 176)
GROUND, CABLE, GLIDER, SHADE = (70, 105, 62), (250, 204, 90), (250, 250, 248), (205, 216, 224)


def picture():
    """Rows of [red, green, blue, alpha]."""
    rows = [[[0, 0, 0, 0] for _ in range(SIZE)] for _ in range(SIZE)]
    radius = 200
    for y in range(SIZE):
        share = y / SIZE
        sky = [round(a + (b - a) * share) for a, b in zip(SKY, SKY_LOW)]
        for x in range(SIZE):
            dx = max(radius - x, x - (SIZE - 1 - radius), 0)
            dy = max(radius - y, y - (SIZE - 1 - radius), 0)
            if dx * dx + dy * dy <= radius * radius:
                rows[y][x] = [*(GROUND if y > 880 else sky), 255]
    return rows


def fill(rows, points, colour):
    """A polygon, by its crossings of each row."""
    for y in range(SIZE):
        at = y + 0.5
        crossings = []
        for (x1, y1), (x2, y2) in zip(points, points[1:] + points[:1]):
            if (y1 <= at) != (y2 <= at):
                crossings.append(x1 + (at - y1) / (y2 - y1) * (x2 - x1))
        crossings.sort()
        for begin, end in zip(crossings[::2], crossings[1::2]):
            for x in range(max(0, math.ceil(begin - 0.5)), min(SIZE, math.ceil(end - 0.5))):
                if rows[y][x][3]:
                    rows[y][x] = [*colour, 255]


def curve(a, b, c, steps=60):
    """Points of a quadratic curve."""
    points = []
    for i in range(steps + 1):
        t = i / steps
        points.append(tuple((1 - t) ** 2 * p + 2 * t * (1 - t) * q + t * t * r for p, q, r in zip(a, b, c)))
    return points


def thick(points, width):
    """The outline of a line of this width."""
    left, right = [], []
    for i, (x, y) in enumerate(points):
        (x1, y1), (x2, y2) = points[max(i - 1, 0)], points[min(i + 1, len(points) - 1)]
        length = math.hypot(x2 - x1, y2 - y1)
        nx, ny = -(y2 - y1) / length * width / 2, (x2 - x1) / length * width / 2
        left.append((x + nx, y + ny))
        right.append((x - nx, y - ny))
    return left + right[::-1]


def turned(points, degrees, x, y, scale):
    """Points of the glider (nose to the right, y upward) at its place."""
    a = math.radians(degrees)
    return [
        (x + scale * (px * math.cos(a) - py * math.sin(a)), y - scale * (px * math.sin(a) + py * math.cos(a)))
        for px, py in points
    ]


def draw():
    rows = picture()
    place = (40, 560, 400, 1.0)
    hook = turned([(60, -34)], *place)[0]
    fill(rows, thick(curve((990, 905), (840, 660), hook), 26), CABLE)
    # The winch's drum at the cable's end.
    fill(rows, [(905 + 46 * math.cos(i / 20 * math.pi), 896 + 46 * math.sin(i / 20 * math.pi)) for i in range(40)], CABLE)
    far = [(70, 8), (-10, 14), (-150, 290), (-112, 300)]
    near = [(90, -8), (-30, -14), (-10, -330), (40, -340)]
    tail = [(-325, 10), (-395, 12), (-440, 150), (-395, 158)]
    plane = [(-355, 12), (-425, 14), (-480, 100), (-450, 104)]
    body = curve((330, -10), (250, 74), (60, 46)) + curve((60, 46), (-120, 26), (-420, 24))
    body += curve((-420, 4), (-100, -30), (60, -44)) + curve((60, -44), (290, -70), (330, -10))
    canopy = curve((285, 22), (210, 70), (90, 44)) + [(110, 14), (285, 8)]
    fill(rows, turned(far, *place), SHADE)
    fill(rows, turned(plane, *place), SHADE)
    fill(rows, turned(tail, *place), GLIDER)
    fill(rows, turned(body, *place), GLIDER)
    fill(rows, turned(canopy, *place), SKY)
    fill(rows, turned(near, *place), GLIDER)
    return rows


def smaller(rows, size):
    """Averages of squares, where full transparency has no colour."""
    edges = [i * len(rows) // size for i in range(size + 1)]
    out = []
    for y1, y2 in zip(edges, edges[1:]):
        line = []
        for x1, x2 in zip(edges, edges[1:]):
            parts = [rows[y][x] for y in range(y1, y2) for x in range(x1, x2)]
            alpha = sum(p[3] for p in parts)
            colour = [round(sum(p[i] * p[3] for p in parts) / alpha) if alpha else 0 for i in range(3)]
            line.append([*colour, round(alpha / len(parts))])
        out.append(line)
    return out


def png(rows):
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    size = len(rows)
    data = b"".join(b"\0" + bytes(v for pixel in row for v in pixel) for row in rows)
    head = struct.pack(">IIBBBBB", size, size, 8, 6, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(data, 9)) + chunk(b"IEND", b"")


def bitmap(rows):
    """The older form inside an .ico, which every Windows reads for small sizes: upside down, with a mask below."""
    size = len(rows)
    head = struct.pack("<IiiHHIIiiII", 40, size, 2 * size, 1, 32, 0, 0, 0, 0, 0, 0)
    colours = b"".join(bytes([p[2], p[1], p[0], p[3]]) for row in reversed(rows) for p in row)
    width = (size + 31) // 32 * 4
    mask = b""
    for row in reversed(rows):
        bits = sum((p[3] < 128) << (width * 8 - 1 - i) for i, p in enumerate(row))
        mask += bits.to_bytes(width, "big")
    return head + colours + mask


def ico(pictures):
    images = [(s, png(r) if s >= 256 else bitmap(r)) for s, r in pictures]
    place = 6 + 16 * len(images)
    head, data = struct.pack("<HHH", 0, 1, len(images)), b""
    for size, image in images:
        head += struct.pack("<BBBBHHII", size % 256, size % 256, 0, 0, 1, 32, len(image), place + len(data))
        data += image
    return head + data


def icns(pictures):
    kinds = {128: b"ic07", 256: b"ic08", 512: b"ic09", 32: b"ic11", 64: b"ic12"}
    data = b""
    for size, rows in pictures:
        image = png(rows)
        data += kinds[size] + struct.pack(">I", len(image) + 8) + image
    return b"icns" + struct.pack(">I", len(data) + 8) + data


def main():
    here = pathlib.Path(__file__).parent
    rows = draw()
    sizes = {size: smaller(rows, size) for size in (16, 24, 32, 48, 64, 128, 256, 512)}
    (here / "cableside.ico").write_bytes(ico([(s, sizes[s]) for s in (16, 24, 32, 48, 64, 256)]))
    (here / "cableside.icns").write_bytes(icns([(s, sizes[s]) for s in (32, 64, 128, 256, 512)]))
    for size in (48, 128, 256):
        (here / f"cableside-{size}.png").write_bytes(png(sizes[size]))


if __name__ == "__main__":
    main()
