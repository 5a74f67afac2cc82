"""The pages under /year."""
