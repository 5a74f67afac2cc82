"""The pages under /start."""
