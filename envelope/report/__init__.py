"""A result as JSON, as tables, and as text on a terminal."""
