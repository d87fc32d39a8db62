"""What several commands share: folders, workers, progress, reports."""
