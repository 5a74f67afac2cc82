"""The pages under /beds and /log."""
