"""The JSON interface of what people read."""
