"""A picture as matplotlib alone draws it, to be held against what the page shows."""

import numpy as np


def drawn(picture, state, scale=1.0):
    """All of a picture for a state.

    Returns
    -------
    uint8 array of shape (rows, columns, 3)
        `scale` dots for one pixel of the page.
    """
    picture.update(state)
    for artist in picture.moving:
        artist.set_animated(False)
        artist.set_zorder(artist.get_zorder() + 1000)  # on the page it lies above all that stands still
    before = picture.figure.dpi
    picture.figure.set_dpi(100 * scale)
    picture.canvas.draw()
    pixels = np.asarray(picture.canvas.buffer_rgba())[:, :, :3].copy()
    picture.figure.set_dpi(before)
    for artist in picture.moving:
        artist.set_animated(True)
        artist.set_zorder(artist.get_zorder() - 1000)
    return pixels
