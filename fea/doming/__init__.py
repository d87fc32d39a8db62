"""What a stroke left: depth, fit, record, marks, misalignment, reversal of a formed bottom."""
