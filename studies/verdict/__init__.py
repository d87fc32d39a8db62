"""How sure an answer is, and whether a bottom holds: interval, budget, verdict, own tests."""
