"""Questions of a plant: forming, settings and readings."""
