"""The result of a stroke: depth, fit, record, marks, misalignment, reversal of the bottom."""
