"""What a study says: margins, slopes, tolerable loss, comparison, scatter."""
