"""The pages under /ground."""
