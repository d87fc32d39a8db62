"""The stroke as moving pictures: a GIF of what was kept of it."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from domemargin.fea.stroke.stages import Formed
from domemargin.studies.figures.doming import draw_frame, frame_figure
from domemargin.studies.figures.moving.film import Film
from domemargin.studies.figures.style import styled
from domemargin.studies.whole_files import write_whole

MILLISECONDS = 90  # of a picture


def write_animation(formed: Formed, film: Film, path: Path) -> None:
    """Draw every picture once and write them as a GIF; the last one stays for a second."""
    pictures = []
    with styled():
        figure, ax = frame_figure()
        canvas = FigureCanvasAgg(figure)
        for frame in film.frames:
            ax.clear()
            draw_frame(ax, formed, frame)
            canvas.draw()
            pixels = Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3])
            pictures.append(pixels.quantize(64))
    shown = [MILLISECONDS] * (len(pictures) - 1) + [1000]
    drawn = io.BytesIO()
    pictures[0].save(
        drawn, "GIF", save_all=True, append_images=pictures[1:], duration=shown, loop=0
    )
    write_whole(path, drawn.getvalue())
