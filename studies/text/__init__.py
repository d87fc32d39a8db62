"""What people read: summaries, tables, words, units."""
