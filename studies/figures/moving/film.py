"""States of a stroke, kept to be drawn as moving pictures."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from domemargin.fea.stroke.step import FormingState

STEP = 0.3  # mm of the die between pictures


class Frame(NamedTuple):
    """One picture: stage, state, and the tools that act."""

    stage: str
    state: FormingState
    tools: tuple[int, ...]


@dataclass
class Film:
    """Pictures taken during a solve."""

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
