"""A photo of nobody: a head modelled by a few hills, lit from one side, drawn the same everywhere.

``python -m tests.shaded_face PHOTO.jpg`` draws the photo of ``demo_scenes/person``.
"""

import sys

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from tests.drawn_face import marks as small_marks

SIZE = (900, 1100)
_LARGER = 2.5
_LIGHT = np.array([-0.62, -0.42, 0.66])
_SKIN, _LIPS, _HAIR = (226, 172, 140), (178, 88, 84), (62, 42, 34)
_COAT, _WALL = (58, 84, 108), (186, 198, 194)


def marks():
    """Return the marks that the head is modelled on, in the photo's pixels."""
    return small_marks().scaled(_LARGER)


def _hill(u, v, at, wide, tall):
    return np.exp(-(((u - at[0]) / wide) ** 2) - ((v - at[1]) / tall) ** 2)


def _height(u, v):
    """Return how far the head stands out; lengths in distances between the eyes, y down."""
    side = np.abs(u)
    z = 1.25 * np.sqrt(np.clip(1 - (u / 1.16) ** 2 - ((v - 0.5) / 1.42) ** 2, 0.0, None))
    rise = np.clip(v / 0.62, 0, 1) ** 1.3 * np.clip((0.74 - v) / 0.1, 0, 1)
    z += 0.34 * rise * np.exp(-((u / (0.11 + 0.07 * np.clip(v, 0, 1))) ** 2))
    z += 0.07 * _hill(side, v, (0.17, 0.66), 0.07, 0.07)
    z += 0.07 * _hill(side, v, (0.45, -0.2), 0.4, 0.1)
    z -= 0.17 * _hill(side, v, (0.48, -0.01), 0.26, 0.14)
    z += 0.07 * _hill(side, v, (0.5, 0.0), 0.16, 0.09)
    z += 0.08 * _hill(side, v, (0.66, 0.45), 0.3, 0.26)
    z -= 0.04 * _hill(side, v, (0.5, 0.95), 0.2, 0.34)
    z += 0.08 * _hill(u, v, (0, 1.0), 0.34, 0.09) + 0.09 * _hill(u, v, (0, 1.17), 0.28, 0.08)
    z -= 0.06 * _hill(u, v, (0, 1.07), 0.4, 0.03) + 0.09 * _hill(u, v, (0, 1.33), 0.28, 0.07)
    z += 0.13 * _hill(u, v, (0, 1.55), 0.28, 0.17)
    return z


def _mask(points, blur=1.0, size=SIZE):
    image = Image.new("L", size, 0)
    ImageDraw.Draw(image).polygon([tuple(p) for p in np.asarray(points).tolist()], fill=255)
    return np.asarray(image.filter(ImageFilter.GaussianBlur(blur)), np.float64)[..., None] / 255


def _round(points):
    """Return a closed outline with its corners rounded: four times cut off (Chaikin)."""
    ring = np.asarray(points, np.float64)
    for _ in range(4):
        on = np.roll(ring, -1, axis=0)
        ring = np.stack([0.75 * ring + 0.25 * on, 0.25 * ring + 0.75 * on], 1).reshape(-1, 2)
    return ring


def photo():
    """Return the photo, RGB."""
    face = marks()
    span, middle = face.eye_distance, (face["right_iris"][0] + face["left_iris"][0]) / 2
    y, x = np.mgrid[: SIZE[1], : SIZE[0]] + 0.5
    u, v = (x - middle[0]) / span, (y - middle[1]) / span

    def at(points):
        return _round(np.asarray(points) * span + middle)

    def put(picture, colour, mask):
        return picture * (1 - mask) + np.asarray(colour, np.float64) * mask

    light = 1.05 - 0.14 * (x / SIZE[0])[..., None] - 0.06 * (y / SIZE[1])[..., None]
    picture = np.asarray(_WALL, np.float64) * light
    # Hair behind the neck, then neck, coat and head.
    strands = np.random.default_rng(12).normal(size=SIZE[0] * 2)
    strands = np.convolve(strands, np.hanning(15) / np.hanning(15).sum(), "same")
    turn = u / np.clip(1.1 + 0.35 * v, 0.5, 1.9)
    lock = strands[np.clip((turn + 2) / 4 * len(strands), 0, len(strands) - 1).astype(int)]
    sheen = np.exp(-(((v + 0.75 + 0.25 * u) / 0.22) ** 2)) * np.clip(0.75 - u, 0, 1)
    shade = 0.8 + 0.3 * lock + 1.3 * sheen + 0.35 * np.clip(-u - 0.4, 0, 1)
    hair = np.asarray(_HAIR, np.float64) * np.clip(shade, 0.45, 2.6)[..., None]
    back = [(-1.38, 0.1), (-1.2, -0.85), (-0.6, -1.42), (0.15, -1.52), (0.85, -1.3), (1.3, -0.7)]
    back += [(1.42, 0.2), (1.4, 1.2), (1.15, 2.0), (0.5, 2.25), (-0.5, 2.25), (-1.15, 2.0)]
    back += [(-1.42, 1.2)]
    picture = put(picture, hair, _mask(at(back), 2))
    neck = [(-0.55, 1.2), (0.55, 1.2), (0.6, 2.15), (1.0, 2.6), (-1.0, 2.6), (-0.6, 2.15)]
    round_neck = 0.78 - 0.5 * np.clip(u, -0.6, 0.9) - 0.5 * np.exp(-(((v - 1.75) / 0.22) ** 2))
    picture = put(
        picture, np.asarray(_SKIN) * np.clip(round_neck, 0.3, 0.95)[..., None], _mask(at(neck), 2)
    )
    coat = [(-2.4, 3.4), (-2.1, 2.62), (-1.2, 2.3), (-0.72, 2.12), (-0.3, 2.5), (0, 2.6)]
    coat += [(0.3, 2.5), (0.72, 2.12), (1.2, 2.3), (2.1, 2.62), (2.4, 3.4)]
    fold = 0.95 - 0.22 * u + 0.25 * np.sin(5 * u + 3 * v) * np.exp(-((u / 1.4) ** 2))
    picture = put(
        picture, np.asarray(_COAT) * np.clip(fold, 0.4, 1.5)[..., None], _mask(at(coat), 2)
    )
    z = _height(u, v)
    down, across = np.gradient(z, 1 / span)
    size = np.sqrt(across**2 + down**2 + 1)
    lit = np.clip((-across * _LIGHT[0] - down * _LIGHT[1] + _LIGHT[2]) / size, 0, 1)
    soft = Image.fromarray((lit * 255).astype(np.uint8)).filter(ImageFilter.GaussianBlur(5))
    lit = np.asarray(soft, np.float64) / 255
    # The nose throws a shadow away from the light, and hair one on the brow.
    lit *= 1 - 0.4 * _hill(u, v, (0.2, 0.72), 0.2, 0.09)
    tone = (0.45 + 0.62 * lit + 0.2 * lit**12)[..., None]
    skin = np.asarray(_SKIN, np.float64) * tone ** np.array([0.85, 1.05, 1.15])
    flush = 0.05 * _hill(np.abs(u), v, (0.62, 0.55), 0.25, 0.2)[..., None]
    skin = skin * (1 - flush * np.array([0.0, 1.0, 0.9]))
    oval = (face["oval"] - face["oval"].mean(axis=0)) * 0.985 + face["oval"].mean(axis=0)
    picture = put(picture, skin, _mask(_round(oval), 1.6))
    lips = np.concatenate([face["upper_lip"], face["lower_lip"][::-1]])
    picture = put(picture, np.asarray(_LIPS) * tone, 0.85 * _mask(lips, 3))
    for eye in ("right", "left"):
        picture = put(picture, (58, 38, 30), 0.85 * _mask(_round(face[f"{eye}_brow"]), 4))
        opening = _mask(_round(face.eye(eye)), 1.2)
        picture = put(picture, np.asarray((232, 222, 214)) * (0.45 + 0.6 * tone), opening)
        px, py = face[f"{eye}_iris"][0]
        radius = face.iris_radius(eye)
        far = np.hypot(x - px, y - py)[..., None]
        iris = np.clip(radius - far + 0.5, 0, 1) * opening
        picture = put(picture, (86, 60, 40), iris)
        picture = put(picture, (16, 11, 10), np.clip(0.5 * radius - far + 0.5, 0, 1) * opening)
        glint = np.hypot(x - px + 0.3 * radius, y - py + 0.35 * radius)[..., None]
        picture = put(picture, (250, 248, 245), np.clip(0.2 * radius - glint + 0.5, 0, 1) * opening)
        for lid, width, dark in (("upper", 6, 0.95), ("lower", 3, 0.35)):
            line = face[f"{eye}_{lid}_lid"]
            ring = np.concatenate([line, (line + (0, -width))[::-1]])
            picture = put(picture, (38, 24, 20), dark * _mask(ring, 1.4))
        crease = face[f"{eye}_upper_lid"] - (0, 0.11 * span)
        ring = np.concatenate([crease, (crease + (0, -4))[::-1]])
        picture = put(picture, (120, 78, 60), 0.6 * _mask(ring, 2.5))
    for sign in (-1, 1):
        hole = _hill(u, v, (sign * 0.11, 0.725), 0.055, 0.026)[..., None]
        picture = put(picture, (60, 30, 24), 0.9 * hole)
    line = (face["upper_lip_line"] + face["lower_lip_line"]) / 2
    ring = np.concatenate([line - (0, 2), (line + (0, 3))[::-1]])
    picture = put(picture, (70, 26, 26), 0.95 * _mask(ring, 1.5))
    # Hair over the brow, parted on one side.
    fringe = [(-1.3, 0.75), (-1.34, -0.5), (-0.8, -1.3), (0, -1.45), (0.8, -1.25), (1.3, -0.5)]
    fringe += [(1.3, 0.75), (1.12, 0.6), (1.06, -0.05), (0.85, -0.55), (0.35, -0.8)]
    fringe += [(-0.25, -0.95), (-0.75, -0.6), (-1.02, -0.1), (-1.12, 0.6)]
    picture = put(picture, hair, _mask(at(fringe), 2.5))
    grain = np.random.default_rng(7).normal(size=(SIZE[1], SIZE[0], 1)) * 1.5
    return Image.fromarray(np.clip(np.rint(picture + grain), 0, 255).astype(np.uint8))


if __name__ == "__main__":
    photo().save(sys.argv[1], quality=88)
