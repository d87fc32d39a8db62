"""Reports: what a command found as one file that needs no network."""
