"""What people read: summaries, tables, words, the page for a shift, an invented plant."""
