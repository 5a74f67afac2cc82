"""The release, by itself: what only wants to say it need not import anything else."""

__all__ = ["__version__"]

__version__ = "0.1.0"
