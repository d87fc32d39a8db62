"""Worked examples, one per question; `NAMES` is the order of the gallery."""

NAMES = (
    "safe",
    "own_bottom",
    "drink",
    "growth",
    "depth_loss",
    "thinner_sheet",
    "two_bottoms",
    "share_below",
    "waves",
    "forming",
    "knobs",
    "set_and_depth",
    "play",
    "own_tests",
    "overnight",
    "sweep",
)
