"""A face drawn by code from the mean face's marks: nobody, and the same on every machine."""

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from sheetstack.geometry.tracing.bend_face import mean_face
from sheetstack.geometry.tracing.faces import FaceMarks, Subject

SIZE = (360, 440)
SKIN, SHADE, HAIR, COAT, WALL = "#d9a384", "#a86d52", "#3a2a22", "#42566b", "#b9c3bd"


def marks(scale=92.0, at=(134.0, 190.0)):
    """Return the face's marks in the picture's pixels."""
    return FaceMarks({name: p * scale + at for name, p in mean_face().items()})


def subject(face=None):
    """Return the face and the outline of hair, head and shoulders."""
    face = face or marks()
    return Subject((face,), (_outline(face),), (), "drawn")


def picture():
    """Return the drawn photo."""
    face, big = marks(), 3
    image = Image.new("RGB", (SIZE[0] * big, SIZE[1] * big), WALL)
    pen = ImageDraw.Draw(image)

    def fill(points, colour):
        pen.polygon([(x * big, y * big) for x, y in points], fill=colour)

    def line(points, colour, width):
        pen.line([(x * big, y * big) for x, y in points], fill=colour, width=round(width * big))

    fill(_outline(face), HAIR)
    middle, span = face["oval"].mean(axis=0), face.eye_distance
    chin = face["chin"][2]
    fill([(40, 440), (70, 395), (290, 395), (320, 440)], COAT)
    fill(
        chin + [(-0.45 * span, -15), (0.45 * span, -15), (0.5 * span, 45), (-0.5 * span, 45)], SHADE
    )
    fill(middle + (face["oval"] - middle) * 0.98, SKIN)
    # Form shadow: the far side of the face, under the nose and under the lip.
    side = face["oval"][[5, 6, 7, 8, 9, 10, 11, 12, 13, 14]]
    fill(np.concatenate([side, (side[::-1] - middle) * 0.68 + middle]), SHADE)
    for eye in ("right", "left"):
        fill(face[f"{eye}_brow"], HAIR)
        fill(face.eye(eye), "#f1e9e2")
        x, y = face[f"{eye}_iris"][0]
        r = face.iris_radius(eye)
        for radius, colour, dx in ((r, "#4a3526", 0), (0.3 * r, "#ffffff", -0.3 * r)):
            box = [(x + dx - radius), (y + dx - radius), (x + dx + radius), (y + dx + radius)]
            pen.ellipse([v * big for v in box], fill=colour)
        line(face[f"{eye}_upper_lid"], "#241812", 2.5)
    line(face["nose_base"][2:7], "#5d3527", 3)
    fill(np.concatenate([face["upper_lip"], face["lower_lip"][::-1]]), "#b0645a")
    line((face["upper_lip_line"] + face["lower_lip_line"]) / 2, "#4d211d", 3)
    return image.resize(SIZE, Image.Resampling.LANCZOS).filter(ImageFilter.GaussianBlur(0.8))


def _outline(face):
    oval = face["oval"]
    middle = oval.mean(axis=0)
    top = (oval - middle) * (1.22, 1.3) + middle
    head = top[top[:, 1] < middle[1] + 70]
    head = head[np.argsort(np.arctan2(head[:, 0] - middle[0], middle[1] - head[:, 1]))]
    body = [(290, 395), (320, 440), (40, 440), (70, 395)]
    return np.concatenate([head, body])
