"""Form fields and how they are read."""
