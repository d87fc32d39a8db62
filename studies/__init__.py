"""What one asks of bottoms: command line, figures, files of a run."""
