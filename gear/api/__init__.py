"""The JSON interface under /api/v1/."""
