"""Draw a wave mode off screen, as `python -m` with the two files FROM.npz TO.png.

In a process of its own: a renderer that finds no way to draw ends its process without an error
that could be caught, and it keeps memory.
"""

from __future__ import annotations

import sys
from typing import Any

import numpy as np

SIZE = [820, 660]  # pixels; a picture takes up some 520 of a figure


def draw(source: str, target: str) -> None:
    """source : arrays points (a, b, 3), values (a, b) from -1 to 1, colours (256, 4) bytes."""
    import pyvista

    with np.load(source) as data:
        points, values, colours = data["points"], data["values"], data["colours"]
    x, y, z = (part[..., None] for part in np.moveaxis(points, -1, 0))
    surface = pyvista.StructuredGrid(x, y, z)
    surface["inward"] = values.ravel(order="F")
    plotter: Any = pyvista.Plotter(off_screen=True, window_size=SIZE, lighting="light kit")
    plotter.set_background("white")
    plotter.add_mesh(
        surface,
        scalars="inward",
        cmap=pyvista.LookupTable(values=colours, scalar_range=(-1.0, 1.0)),
        smooth_shading=True,
        show_scalar_bar=False,
        ambient=0.15,
        diffuse=0.85,
        specular=0.12,
    )
    plotter.camera_position = [(0.0, -70.0, 95.0), (0.0, 0.0, 0.0), (0.0, 0.0, 1.0)]
    plotter.enable_anti_aliasing("ssaa")
    plotter.reset_camera()
    plotter.camera.zoom(1.3)
    plotter.screenshot(target)
    plotter.close()


if __name__ == "__main__":
    draw(*sys.argv[1:3])
