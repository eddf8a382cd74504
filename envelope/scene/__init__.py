"""Pictures of a cell: the only home of the drawing library."""
