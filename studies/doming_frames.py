"""The stroke as moving pictures: what is kept of each step, and a GIF of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fea.doming_readings import Line, line
from fea.doming_stages import Formed
from fea.doming_step import FormingState

Floats = NDArray[np.float64]

STEP = 0.2  # mm of the die between pictures
SECONDS = 0.08  # of a picture


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


def lines(formed: Formed, film: Film) -> list[Line]:
    """The metal in each picture."""
    return [line(formed, frame.state) for frame in film.frames]


def write_animation(formed: Formed, film: Film, path: Path) -> None:
    """Draw every picture and write them as a GIF."""
    from matplotlib.animation import FuncAnimation, PillowWriter

    from studies.doming_figure import draw_frame, frame_figure
    from studies.style import styled

    with styled():
        figure, ax = frame_figure()

        def draw(index: int) -> list[object]:
            ax.clear()
            draw_frame(ax, formed, film.frames[index])
            return []

        order = [*range(len(film.frames)), *[len(film.frames) - 1] * 12]
        moving = FuncAnimation(figure, draw, frames=order, blit=False)  # type: ignore[arg-type]
        moving.save(path, writer=PillowWriter(fps=round(1.0 / SECONDS)), dpi=80)
