"""The pages under /stores."""
