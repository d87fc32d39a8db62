"""Profile files: reading, checking, writing; section meshes."""
