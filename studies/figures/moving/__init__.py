"""Pictures in three dimensions and moving ones, rendered in a process of their own."""
