"""Worked examples, one per question: `NAMES` in the order of the gallery, `ROOM` of each."""

ROOM = {
    "safe": "bottoms",
    "five_cans": "bottoms",
    "own_bottom": "bottoms",
    "traced": "bottoms",
    "drink": "bottoms",
    "growth": "bottoms",
    "depth_loss": "bottoms",
    "thinner_sheet": "bottoms",
    "lightest": "bottoms",
    "two_bottoms": "bottoms",
    "share_below": "bottoms",
    "waves": "bottoms",
    "forming": "plant",
    "knobs": "plant",
    "set_and_depth": "plant",
    "play": "plant",
    "own_tests": "plant",
    "own_metal": "plant",
    "overnight": "bottoms",
    "sweep": "bottoms",
}
NAMES = tuple(ROOM)
