"""Deep grey: pictures of 16 bits a pixel as levels from 0 to 1."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ..errors import ArtworkError

_WHITE = 65535
#: Pictures whose lightest level is below this hold fewer bits than they say: 12 bits go to 4095.
_LEAST_WHITE = 8192
#: TIFF 6.0, section 3: PhotometricInterpretation, and its value 0, WhiteIsZero.
_PHOTOMETRIC, _WHITE_IS_ZERO = 262, 0


def deep_levels(image: Image.Image, path: Path) -> NDArray[np.float32]:
    """Return the levels of a loaded picture of more than 8 bits, 0 black and 1 white.

    Parameters
    ----------
    image : Image
        Of a mode that starts with I. Pillow turns round 8 bits where a TIFF says that white is 0,
        but not 16.
    path : Path
        For the sentence of an error.

    Raises
    ------
    ArtworkError
        The lightest level is so low that the picture must hold fewer bits than it says. PNG
        (W3C, 2003, 12.5) asks for samples scaled to the full range; what lies in a file that does
        not is anybody's guess.
    """
    values = np.asarray(image).astype(np.float32)
    tags = getattr(image, "tag_v2", {})
    if tags.get(_PHOTOMETRIC) == _WHITE_IS_ZERO:
        values = _WHITE - values
    lightest = float(values.max(initial=0))
    if 0 < lightest < _LEAST_WHITE:
        raise ArtworkError(
            f"{path}: its levels of 16 bits go up to {lightest:.0f} of {_WHITE} only, as those of "
            "12 bits do, so that all of it would be read as black; scale them to the whole range."
        )
    levels: NDArray[np.float32] = np.clip(values / np.float32(max(_WHITE, lightest)), 0, 1)
    return levels
