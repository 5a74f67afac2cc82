"""The pages of the section More."""
