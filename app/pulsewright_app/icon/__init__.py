"""The program's icon, and the entry by which a desktop knows it."""
