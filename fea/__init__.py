"""How a bottom behaves: materials, shell, solid, path following, reversal."""
