"""What every handler shares: the context, requests, refusals, the guard, downloads."""
