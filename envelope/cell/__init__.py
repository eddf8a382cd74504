"""The cell: what the user writes, read strictly, and the frozen model made of it."""
