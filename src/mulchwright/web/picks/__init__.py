"""The pages under /pick and /picks."""
