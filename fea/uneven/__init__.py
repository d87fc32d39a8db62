"""The uneven shell: a bottom that is not the same all round, followed in three dimensions."""
