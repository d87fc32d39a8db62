"""How figures look, in one place."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.colors import Colormap

# blue, vermilion, green and grey of Okabe & Ito (2008), distinct for colour-blind readers
BEFORE = "#8C8C8C"
ONSET = "#0072B2"
AFTER = "#D55E00"
RING = "#009E73"
INK = "#222222"
METAL = "#C9CED3"
DIMENSION = "#0072B2"
# inward to outward displacement of a mode, with the metal's own light grey for none
MODE = (ONSET, "#A3C4DA", "#E9E8E4", "#EBB795", AFTER)

STYLE: dict[str, Any] = {
    "font.family": "DejaVu Sans",  # comes with matplotlib
    "font.size": 9.0,
    "axes.titlesize": 10.0,
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.linewidth": 0.8,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "lines.linewidth": 1.6,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "figure.dpi": 120,
    "savefig.dpi": 120,
    "text.parse_math": False,  # a $ in a profile's name is a $
}


def styled() -> AbstractContextManager[None]:
    """A context in which figures are built and drawn in this style."""
    import matplotlib

    return matplotlib.rc_context(STYLE)  # type: ignore[arg-type]


def mode_colours() -> Colormap:
    """The colours of a mode, from its largest displacement outward to that inward."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("mode", MODE)
