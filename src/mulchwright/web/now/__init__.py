"""The pages under /now."""
