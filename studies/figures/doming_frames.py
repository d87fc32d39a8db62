"""The stroke as moving pictures: what is kept of each step, and a GIF of it."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np

from domemargin.fea.doming.stages import Formed
from domemargin.fea.doming.step import FormingState
from domemargin.studies.whole_files import write_whole

STEP = 0.3  # mm of the die between pictures
MILLISECONDS = 90  # of a picture


class Frame(NamedTuple):
    """One picture: stage, state, and the tools that act."""

    stage: str
    state: FormingState
    tools: tuple[int, ...]


@dataclass
class Film:
    """Pictures of a solve, taken as it goes."""

    frames: list[Frame] = field(default_factory=list)

    def take(self, stage: str, state: FormingState, tools: tuple[int, ...]) -> None:
        """Keep a state if the die has moved on, or another stage has begun."""
        last = self.frames[-1] if self.frames else None
        if last is not None and last.stage == stage == "stroke":
            if abs(state.places[1] - last.state.places[1]) < STEP:
                return
        elif last is not None and last.stage == stage and not stage.endswith("off"):
            self.frames[-1] = Frame(stage, state, tools)
            return
        self.frames.append(Frame(stage, state, tools))


def write_animation(formed: Formed, film: Film, path: Path) -> None:
    """Draw every picture once and write them as a GIF; the last one stays for a second."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    from domemargin.studies.figures.doming import draw_frame, frame_figure
    from domemargin.studies.figures.style import styled

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
