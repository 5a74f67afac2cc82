"""The pages under /weather."""
