"""The pages under /phones and /pair."""
